//! `closewatch read-photo`: the process that the server has a photo read by. It shuts itself in, says so, and only then is given what
//! a stranger sent.

use std::io;
use std::io::Write;
use std::process::ExitCode;

use crate::cli::shut_in;
#[cfg(feature = "doubles")]
use crate::cli::taken_over;
use crate::photo;
use crate::photo::told;
use crate::photo::told::Asked;

#[derive(Debug, clap::Args)]
pub struct ReadPhoto {
    /// Reads without being shut in, for tests to compare with.
    #[cfg(feature = "doubles")]
    #[arg(long)]
    left_open: bool,
}

impl ReadPhoto {
    #[cfg(feature = "doubles")]
    fn is_left_open(&self) -> bool {
        self.left_open
    }

    #[cfg(not(feature = "doubles"))]
    fn is_left_open(&self) -> bool {
        false
    }
}

/// [`told::NOT_SHUT_IN`]: it could not be shut in, and said why instead of reading anything.
pub fn run(how: &ReadPhoto) -> ExitCode {
    // A decoder that falls over is caught and its photo called damaged; nobody reads here what it says.
    std::panic::set_hook(Box::new(|_| {}));
    #[cfg(feature = "doubles")]
    let before = taken_over::look_around();
    let mut to = io::stdout().lock();
    if !how.is_left_open()
        && let Err(why) = shut_in::shut_in()
    {
        let _ = write!(to, "cannot be shut in: {why}");
        return ExitCode::from(told::NOT_SHUT_IN);
    }
    #[cfg(feature = "doubles")]
    let answered = read(&mut to, |asked, to| taken_over::by(asked, before, to));
    #[cfg(not(feature = "doubles"))]
    let answered = read(&mut to, |_, _| Ok(false));
    if answered.is_ok() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// `instead`: what a test has it do with the file in place of reading it; whether it did.
fn read<W: Write>(to: &mut W, instead: impl FnOnce(&Asked, &mut W) -> io::Result<bool>) -> io::Result<()> {
    to.write_all(told::SHUT_IN)?;
    to.flush()?;
    let asked = Asked::read(&mut io::stdin().lock())?;
    if instead(&asked, to)? {
        return Ok(());
    }
    told::tell(&photo::clean(&asked.bytes, &asked.limits), to)
}
