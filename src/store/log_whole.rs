//! Whether SQLite's log lost something in its middle. SQLite itself reads the log up to the first frame whose sum is wrong and
//! takes that for its end; what was acknowledged behind it would be gone without a word.
//!
//! The format is sqlite.org/fileformat2.html, section 4 ("The Write-Ahead Log"). With `synchronous=FULL` each change is synced
//! before the next is begun, so that a power cut leaves at most the last one unfinished: a wrong frame with a whole change, and
//! more, behind it was whole once.

use std::fs;
use std::io;
use std::path::Path;

const HEADER_BYTES: usize = 32;
const FRAME_HEADER_BYTES: usize = 24;
/// The last bit says which way round the words of a sum are read.
const MAGIC: u32 = 0x377f_0682;

/// A log that is wrong in its middle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the log of the books is damaged at frame {frame} of {frames}")]
pub struct CutShort {
    /// From 1; 0: its head.
    pub frame: usize,
    /// How many there are room for in the file.
    pub frames: usize,
}

/// Looks at the log that lies beside an SQLite file; `None`: nothing is wrong with it, or there is none. Call it before the
/// books are opened: SQLite takes the log up to the damage and writes over the rest.
pub fn cut_short(database_url: &str) -> io::Result<Option<CutShort>> {
    let Some(path) = database_url.strip_prefix("sqlite:") else { return Ok(None) };
    let path = path.trim_start_matches("//").split('?').next().unwrap_or_default();
    match fs::read(Path::new(&format!("{path}-wal"))) {
        Ok(log) => Ok(judge(&log)),
        Err(fault) if fault.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(fault) => Err(fault),
    }
}

/// A running sum, as section 4.2 has it.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Sum {
    big_endian: bool,
    first: u32,
    second: u32,
}

impl Sum {
    fn add(mut self, bytes: &[u8]) -> Sum {
        let (pairs, _) = bytes.as_chunks::<8>();
        for [a, b, c, d, e, f, g, h] in pairs.iter().copied() {
            let word =
                |bytes| if self.big_endian { u32::from_be_bytes(bytes) } else { u32::from_le_bytes(bytes) };
            self.first = self.first.wrapping_add(word([a, b, c, d])).wrapping_add(self.second);
            self.second = self.second.wrapping_add(word([e, f, g, h])).wrapping_add(self.first);
        }
        self
    }

    fn is(self, first: Option<u32>, second: Option<u32>) -> bool {
        (Some(self.first), Some(self.second)) == (first, second)
    }
}

/// The word at a place; sums, sizes and salts are big-endian whatever the sum's own order is.
fn word(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(*bytes.get(at..)?.first_chunk()?))
}

fn judge(log: &[u8]) -> Option<CutShort> {
    let head = log.get(..HEADER_BYTES)?;
    let behind = &log[HEADER_BYTES..];
    let magic = word(head, 0)?;
    let sum = Sum { big_endian: magic & 1 == 1, first: 0, second: 0 }.add(&head[..24]);
    let page_bytes = match word(head, 8)? {
        1 => 65_536,
        bytes => bytes as usize,
    };
    let is_log = magic & !1 == MAGIC && page_bytes.is_power_of_two() && page_bytes >= 512;
    if !is_log || !sum.is(word(head, 24), word(head, 28)) {
        return (!behind.is_empty()).then_some(CutShort { frame: 0, frames: 0 });
    }
    let frames: Vec<&[u8]> = behind.chunks_exact(FRAME_HEADER_BYTES + page_bytes).collect();
    let salts = &head[16..24];
    let whole = whole_frames(&frames, salts, sum);
    let rest = &frames[whole..];
    // Frames of this log, not of one that was written over: those have other salts.
    let ours = |frame: &&[u8]| frame.get(8..16) == Some(salts);
    let ends_change = |frame: &&[u8]| ours(frame) && word(frame, 4).is_some_and(|pages| pages > 0);
    let first_end = rest.iter().position(ends_change)?;
    let more = rest[first_end + 1..].iter().any(ours);
    more.then_some(CutShort { frame: whole + 1, frames: frames.len() })
}

/// How many frames from the first on are as they were written.
fn whole_frames(frames: &[&[u8]], salts: &[u8], mut sum: Sum) -> usize {
    frames
        .iter()
        .take_while(|frame| {
            let (head, page) = frame.split_at(FRAME_HEADER_BYTES);
            sum = sum.add(&head[..8]).add(page);
            head[8..16] == *salts && sum.is(word(head, 16), word(head, 20))
        })
        .count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Db;
    use crate::store::server;

    /// A log of many changes as SQLite wrote it, while the books are still open.
    async fn log() -> Vec<u8> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.sqlite");
        let db = Db::open(&format!("sqlite:{}", path.display())).await.unwrap();
        db.settle().await.unwrap();
        for value in 0..12 {
            server::probe(&db, value).await.unwrap();
        }
        let log = fs::read(folder.path().join("a.sqlite-wal")).unwrap();
        db.close().await;
        log
    }

    #[tokio::test]
    async fn a_log_as_it_was_written_is_whole_and_so_is_one_whose_last_change_was_never_finished() {
        let log = log().await;
        assert!(log.len() > HEADER_BYTES + 12 * (FRAME_HEADER_BYTES + 4_096));
        assert_eq!(judge(&log), None);
        assert_eq!(judge(&[]), None);
        assert_eq!(judge(&log[..HEADER_BYTES]), None);
        // Cut anywhere: what is left is a beginning.
        for cut in (HEADER_BYTES..log.len()).step_by(997) {
            assert_eq!(judge(&log[..cut]), None, "{cut}");
        }
        // The last frame half written.
        let mut torn = log.clone();
        let last = torn.len() - 1_000;
        torn[last..].fill(0);
        assert_eq!(judge(&torn), None);
    }

    #[tokio::test]
    async fn a_bit_changed_in_the_head_or_before_the_last_change_is_found_at_its_frame() {
        let log = log().await;
        let frame_bytes = FRAME_HEADER_BYTES + 4_096;
        let frames = (log.len() - HEADER_BYTES) / frame_bytes;
        let mut found = 0;
        for at in (0..log.len()).step_by(331) {
            let mut changed = log.clone();
            changed[at] ^= 0x10;
            match (judge(&changed), at) {
                (Some(cut), ..HEADER_BYTES) => assert_eq!(cut.frame, 0, "{at}"),
                (Some(cut), _) => {
                    assert_eq!(cut.frame, (at - HEADER_BYTES) / frame_bytes + 1, "{at}");
                    found += 1;
                }
                // Of the last change nobody can tell whether it was ever finished.
                (None, at) => {
                    assert!(at >= HEADER_BYTES + (frames - 3) * frame_bytes, "{at} of {frames} frames")
                }
            }
        }
        assert!(found > 50, "{found}");
    }
}
