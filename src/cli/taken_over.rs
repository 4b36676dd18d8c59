//! What a decoder that was taken over might try. Only tests have it: a file that begins like a JPEG and then says what to try stands
//! in for one that takes its decoder over.

use std::fs::File;
use std::io;
use std::io::Write;
use std::net::TcpStream;
use std::process::Command;
use std::process::Stdio;

use rustix::process::Signal;
use rustix::process::getppid;
use rustix::process::kill_process;

use crate::photo::Refused;
use crate::photo::told;
use crate::photo::told::Asked;

const BEGINS: &[u8] = b"\xFF\xD8\xFFtaken over: ";

/// What could be seen before the process was shut in: how many descriptors are open, and the highest of them.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    open: u32,
    highest: u32,
}

pub fn look_around() -> Seen {
    let Ok(entries) = std::fs::read_dir("/proc/self/fd") else { return Seen { open: 0, highest: 0 } };
    let names = entries.filter_map(|entry| entry.ok()?.file_name().to_str()?.parse().ok());
    let mut open: Vec<u32> = names.collect();
    // The one by which they are listed is the last that was opened.
    open.sort_unstable();
    open.pop();
    Seen { open: open.len() as u32, highest: open.last().copied().unwrap_or(0) }
}

/// Does what the file says; false: it says nothing of the kind. What went well is answered as a size, of which nothing here is one.
pub fn by(asked: &Asked, seen: Seen, to: &mut impl Write) -> io::Result<bool> {
    let Some(words) = asked.bytes.strip_prefix(BEGINS) else { return Ok(false) };
    let words = String::from_utf8_lossy(words);
    let (what, with) = words.split_once(' ').unwrap_or((&words, ""));
    let mut size = (1, 1);
    match what {
        "connect" => drop(TcpStream::connect(with)?),
        "open" => drop(File::open(with)?),
        "write" => drop(File::create(with)?),
        "exec" => {
            let mut other = Command::new("/proc/self/exe");
            other.arg("--version").stdin(Stdio::null()).stdout(Stdio::null()).status()?;
        }
        "signal" => {
            let parent = getppid().ok_or(io::ErrorKind::NotFound)?;
            kill_process(parent, Signal::CONT)?;
        }
        "descriptors" => size = (seen.open, seen.highest),
        "memory" => {
            let mib: usize = with.parse().unwrap_or(0);
            std::hint::black_box(vec![1_u8; mib << 20]);
        }
        // The stack cannot grow any more once all memory is taken: that address is nobody's, and far from where a stack must end.
        "segfault" => {
            for size in (12..=26).rev().map(|power| 1_usize << power) {
                let mut block: Vec<u8> = Vec::new();
                while block.try_reserve_exact(size).is_ok() {
                    std::hint::black_box(std::mem::take(&mut block).leak());
                }
            }
            std::hint::black_box(deeper(4_000));
        }
        "work" => loop {
            std::hint::black_box(what);
        },
        "wait" => loop {
            std::thread::park();
        },
        "flood" => loop {
            to.write_all(&[b'd'; 65_536])?;
        },
        "nonsense" => {
            to.write_all(b"fine")?;
            return Ok(true);
        }
        "fall" => panic!("as asked"),
        _ => return Ok(false),
    }
    told::tell(&Err(Refused::TooLarge { width_px: size.0, height_px: size.1 }), to)?;
    Ok(true)
}

/// A kibibyte of stack for each.
fn deeper(levels: u64) -> u64 {
    let block = std::hint::black_box([levels; 128]);
    if levels == 0 { block[0] } else { deeper(levels - 1) + block[127] }
}
