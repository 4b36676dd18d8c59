//! Who decodes what patients send: a process of its own, which is shut in before it is given a single byte. A file that takes its
//! decoder over, or runs away with it, costs that one photo, and neither the server nor anything it holds (safety promise U15).

use std::io;
use std::path::PathBuf;
use std::process::ExitStatus;
use std::process::Stdio;
use std::time::Duration;

use tokio::io::AsyncReadExt;
use tokio::io::AsyncWriteExt;
use tokio::process::Child;
use tokio::process::ChildStdin;
use tokio::process::ChildStdout;
use tokio::process::Command;

use crate::care::gates::Turn;
use crate::photo;
use crate::photo::CleanPhoto;
use crate::photo::Limits;
use crate::photo::Refused;
use crate::photo::told;

/// What became of a file: a photo, or why it is none.
pub type Outcome = Result<CleanPhoto, Refused>;

/// The program that runs, whatever lies at its path by now: a server that was upgraded and not yet started anew goes on with the
/// decoder it knows.
const THIS_PROGRAM: &str = "/proc/self/exe";

/// By the clock on the wall, once until it is shut in and once from then on. Work is limited to eight seconds of a core
/// (`cli::shut_in`); this ends a process that does not even work, and leaves a busy machine time for those eight. Twice that is less than
/// the minute after which a phone believes its line dead.
const WITHIN: Duration = Duration::from_secs(25);

/// How often a sample is tried, and what lies between, while the machine is in the way.
const PAUSES: [Duration; 3] =
    [Duration::from_millis(250), Duration::from_millis(500), Duration::from_secs(1)];

/// A sample takes a hundredth of it; whoever starts the server waits for it.
const SAMPLE_WITHIN: Duration = Duration::from_secs(10);

/// What it says instead of being ready is cut after so many bytes.
const LONGEST_EXCUSE: u64 = 300;

#[derive(Clone, Debug)]
pub enum Decoder {
    /// This process itself: for tests, for examples, and for a demonstration where nothing can be shut in.
    InProcess,
    /// A process for each file, with limits.
    Apart(Apart),
}

/// How the process is started that reads a file apart.
#[derive(Clone, Debug)]
pub struct Apart {
    program: PathBuf,
    within: Duration,
    #[cfg(feature = "doubles")]
    is_open: bool,
}

/// What came of giving a file away.
#[expect(
    clippy::large_enum_variant,
    reason = "there is one for each photo that is being read, and it moves once"
)]
#[derive(Debug, PartialEq)]
pub enum Came {
    Read(Outcome),
    /// The process ended on this file, or was ended; twice, where the machine may have done it. The photo is lost.
    Lost(Lost),
    /// It was never given the file, or stopped together with the machine: another try may go well. Why, in words.
    NotRead(String),
    /// It was never given the file, for this machine shuts no process in. Why, in words.
    NotShutIn(String),
}

/// How a process ended that was given a file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Lost {
    #[error("it tried what it may not do")]
    Forbidden,
    #[error("it worked for longer than it may")]
    TooMuchWork,
    #[error("it had neither ended nor done its work in time")]
    TooLong,
    #[error("it said what it never says")]
    NotBelieved,
    #[error("signal {0} ended it")]
    Signal(i32),
    #[error("it ended with status {0}")]
    Status(i32),
}

impl Lost {
    /// Whether the machine may be at fault and not the file: it left no time for the work, or killed what was largest when memory ran
    /// out. Then the file is worth a second try, and no third: one that always ends so must not come back for ever.
    fn may_be_the_machine(&self) -> bool {
        match self {
            Lost::TooLong => true,
            Lost::Signal(signal) => *signal == libc::SIGKILL,
            Lost::Forbidden | Lost::TooMuchWork | Lost::NotBelieved | Lost::Status(_) => false,
        }
    }
}

impl Decoder {
    /// This program, started once more for each file.
    pub fn this_program() -> Decoder {
        Decoder::Apart(Apart::new(THIS_PROGRAM.into()))
    }

    /// Reads a small picture of our own: whether pictures can be read here at all. An error says why not, in words. What may pass is
    /// tried a few times; that no process can be shut in does not pass.
    pub async fn try_out(&self, limits: &Limits) -> Result<(), String> {
        let Decoder::Apart(apart) = self else { return Ok(()) };
        let apart = apart.clone().within(apart.within.min(SAMPLE_WITHIN));
        let sample = told::sample().ok_or("not even a sample can be written")?;
        let mut pauses = PAUSES.into_iter();
        loop {
            let why = match apart.read(&sample, limits).await {
                Came::Read(Ok(_)) => return Ok(()),
                Came::NotShutIn(why) => return Err(why),
                Came::Read(Err(refused)) => format!("a sample was refused ({})", refused.code()),
                Came::Lost(lost) => format!("the process was given a sample, and {lost}"),
                Came::NotRead(why) => why,
            };
            let Some(pause) = pauses.next() else { return Err(why) };
            tracing::warn!(why, "a sample could not be read just now");
            tokio::time::sleep(pause).await;
        }
    }

    /// `turn` is held until the work has ended. An error: it is not the file's fault, another try may go well; the log says why.
    pub(in crate::care) async fn clean(
        &self,
        bytes: Vec<u8>,
        limits: Limits,
        turn: Turn,
    ) -> Result<Outcome, NotRead> {
        let apart = match self {
            Decoder::Apart(apart) => apart,
            Decoder::InProcess => {
                let work = tokio::task::spawn_blocking(move || {
                    let _turn = turn;
                    photo::clean(&bytes, &limits)
                });
                // A decoder that fell over has read nothing: the same as a damaged picture.
                return Ok(work.await.unwrap_or(Err(Refused::Damaged)));
            }
        };
        let came = apart.read(&bytes, &limits).await;
        drop(turn);
        match came {
            Came::Read(outcome) => Ok(outcome),
            Came::Lost(lost) => {
                let size = bytes.len();
                tracing::error!(%lost, bytes = size, "the process that reads photos ended on one; that photo is lost");
                Ok(Err(Refused::Damaged))
            }
            Came::NotRead(why) | Came::NotShutIn(why) => {
                tracing::error!(why, "a photo could not be read just now");
                Err(NotRead)
            }
        }
    }
}

/// The file was not read, and nothing is known of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::care) struct NotRead;

impl Apart {
    /// `program`: the whole path of a `closewatch`.
    pub fn new(program: PathBuf) -> Apart {
        Apart {
            program,
            within: WITHIN,
            #[cfg(feature = "doubles")]
            is_open: false,
        }
    }

    /// The same, ended after so long by the clock on the wall.
    #[must_use]
    pub fn within(self, within: Duration) -> Apart {
        Apart { within, ..self }
    }

    /// The same, not shut in: what the tests compare with.
    #[cfg(feature = "doubles")]
    #[must_use]
    pub fn left_open(self) -> Apart {
        Apart { is_open: true, ..self }
    }

    /// Gives a file away to be read, and once more where the machine may have been in the way. Dropped meanwhile, the process ends too.
    pub async fn read(&self, bytes: &[u8], limits: &Limits) -> Came {
        if let Err(refused) = photo::begins_as(bytes, limits) {
            return Came::Read(Err(refused));
        }
        match self.read_once(bytes, limits).await {
            Came::Lost(lost) if lost.may_be_the_machine() => {
                tracing::warn!(%lost, "a photo is read once more");
                self.read_once(bytes, limits).await
            }
            came => came,
        }
    }

    async fn read_once(&self, bytes: &[u8], limits: &Limits) -> Came {
        let mut child = match self.start() {
            Ok(child) => child,
            Err(fault) => return Came::NotRead(format!("no process could be started to read it: {fault}")),
        };
        let in_time = match tokio::time::timeout(self.within, shut_in(&mut child)).await {
            Ok(Ok(Ok(pipes))) => tokio::time::timeout(self.within, talk(&mut child, pipes, bytes, limits))
                .await
                .unwrap_or(Ok(Came::Lost(Lost::TooLong))),
            Ok(Ok(Err(came))) => Ok(came),
            Ok(Err(fault)) => Err(fault),
            Err(_elapsed) => Ok(Came::NotRead("the process that reads it was not ready in time".to_owned())),
        };
        // Whichever way it went, it is waited for: no more than its turn allows ever runs. One that has ended cannot be killed.
        let _ = child.kill().await;
        in_time.unwrap_or_else(|fault| {
            Came::NotRead(format!("the process that reads it cannot be talked with: {fault}"))
        })
    }

    /// It gets three pipes, no variable, no folder of ours, and a group of its own, so that what is typed at the terminal stops the
    /// server alone. All other descriptors of the server close by themselves when it begins (`tests/decoder.rs`).
    fn start(&self) -> io::Result<Child> {
        let mut command = Command::new(&self.program);
        command.arg("read-photo");
        #[cfg(feature = "doubles")]
        if self.is_open {
            command.arg("--left-open");
        }
        command.env_clear().current_dir("/").process_group(0).kill_on_drop(true);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn()
    }
}

/// What a process is given a file by, and answers by.
type Pipes = (ChildStdin, ChildStdout);

/// It says that it is shut in; then it may be given a file. Otherwise why it is not.
async fn shut_in(child: &mut Child) -> io::Result<Result<Pipes, Came>> {
    let (Some(to), Some(mut from)) = (child.stdin.take(), child.stdout.take()) else {
        return Err(io::ErrorKind::BrokenPipe.into());
    };
    let mut first = Vec::new();
    (&mut from).take(told::SHUT_IN.len() as u64).read_to_end(&mut first).await?;
    Ok(if first == told::SHUT_IN { Ok((to, from)) } else { Err(excuse(first, from, child).await?) })
}

/// It is given the file, and answers.
async fn talk(child: &mut Child, (mut to, from): Pipes, bytes: &[u8], limits: &Limits) -> io::Result<Came> {
    let give = async {
        // That it does not listen any more is told by how it ends.
        let _ = to.write_all(&told::Asked::head(bytes, limits)).await;
        let _ = to.write_all(bytes).await;
        drop(to);
    };
    let mut answer = Vec::new();
    let mut bounded = from.take(told::MOST_ANSWER_BYTES + 1);
    let (_, heard) = tokio::join!(give, bounded.read_to_end(&mut answer));
    heard?;
    if answer.len() as u64 > told::MOST_ANSWER_BYTES {
        return Ok(Came::Lost(Lost::NotBelieved));
    }
    let status = child.wait().await?;
    Ok(ended(status).unwrap_or_else(|| {
        told::believe(&answer, bytes, limits).map_or(Came::Lost(Lost::NotBelieved), Came::Read)
    }))
}

/// Why it is not ready, in its own words, or by how it ended.
async fn excuse(mut said: Vec<u8>, from: ChildStdout, child: &mut Child) -> io::Result<Came> {
    from.take(LONGEST_EXCUSE).read_to_end(&mut said).await?;
    let status = child.wait().await?;
    let said = String::from_utf8_lossy(&said);
    let why = match said.trim() {
        "" => format!("the process that reads it ended at once ({status})"),
        said => format!("the process that reads it {said}"),
    };
    let is_for_good = status.code() == Some(i32::from(told::NOT_SHUT_IN));
    Ok(if is_for_good { Came::NotShutIn(why) } else { Came::NotRead(why) })
}

/// `None`: it ended as it should.
fn ended(status: ExitStatus) -> Option<Came> {
    use std::os::unix::process::ExitStatusExt;
    if status.success() {
        return None;
    }
    Some(match status.signal() {
        // Somebody stops everything: the file has no part in it.
        Some(signal @ (libc::SIGTERM | libc::SIGINT | libc::SIGHUP | libc::SIGQUIT)) => {
            Came::NotRead(format!("the process that reads it was stopped from outside (signal {signal})"))
        }
        Some(libc::SIGSYS) => Came::Lost(Lost::Forbidden),
        Some(libc::SIGXCPU) => Came::Lost(Lost::TooMuchWork),
        Some(signal) => Came::Lost(Lost::Signal(signal)),
        None => Came::Lost(Lost::Status(status.code().unwrap_or(-1))),
    })
}
