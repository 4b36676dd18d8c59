//! A zip that goes out while it is written: only the file at hand is in memory.

use std::io;
use std::io::Seek;
use std::io::SeekFrom;
use std::io::Write;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;

use bytes::Bytes;
use jiff::civil::DateTime;
use zip::CompressionMethod;
use zip::ZipWriter;
use zip::result::ZipError;
use zip::write::SimpleFileOptions;

/// The end of what was written, from `base` on. What lies before was taken out already and cannot be gone back to.
#[derive(Debug, Default)]
struct Window {
    base: u64,
    bytes: Vec<u8>,
    /// Where the next byte goes.
    at: u64,
}

impl Window {
    fn end(&self) -> u64 {
        self.base + self.bytes.len() as u64
    }

    fn write(&mut self, written: &[u8]) -> io::Result<usize> {
        let from = usize::try_from(self.at - self.base).map_err(io::Error::other)?;
        let over = written.len().min(self.bytes.len() - from);
        self.bytes[from..from + over].copy_from_slice(&written[..over]);
        self.bytes.extend_from_slice(&written[over..]);
        self.at += written.len() as u64;
        Ok(written.len())
    }

    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let at = match to {
            SeekFrom::Start(at) => Some(at),
            SeekFrom::Current(by) => self.at.checked_add_signed(by),
            SeekFrom::End(by) => self.end().checked_add_signed(by),
        };
        self.at = at
            .filter(|at| (self.base..=self.end()).contains(at))
            .ok_or_else(|| io::Error::other("what was written there went out already"))?;
        Ok(self.at)
    }

    /// Takes out whatever lies before `until`.
    fn take(&mut self, until: u64) -> Bytes {
        let many = usize::try_from(until.saturating_sub(self.base)).unwrap_or(0).min(self.bytes.len());
        let rest = self.bytes.split_off(many);
        self.base += many as u64;
        Bytes::from(std::mem::replace(&mut self.bytes, rest))
    }
}

/// The same window from both sides.
#[derive(Clone, Debug, Default)]
struct Shared(Arc<Mutex<Window>>);

impl Shared {
    fn lock(&self) -> MutexGuard<'_, Window> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Write for Shared {
    fn write(&mut self, written: &[u8]) -> io::Result<usize> {
        self.lock().write(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Seek for Shared {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.lock().seek(to)
    }
}

/// A zip under construction.
pub struct Zip {
    writer: ZipWriter<Shared>,
    window: Shared,
    options: SimpleFileOptions,
    /// What lies before it is whole.
    whole: u64,
}

impl Zip {
    /// `made`: the local time that its files carry. Files are stored as they are: photos are compressed already.
    pub fn new(made: DateTime) -> Zip {
        let part = |value: i8| u8::try_from(value).unwrap_or(0);
        let (date, time) = (made.date(), made.time());
        let modified = zip::DateTime::from_date_and_time(
            u16::try_from(date.year()).unwrap_or(1980),
            part(date.month()),
            part(date.day()),
            part(time.hour()),
            part(time.minute()),
            part(time.second()),
        );
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Stored)
            .last_modified_time(modified.unwrap_or_default())
            .unix_permissions(0o600);
        let window = Shared::default();
        Zip { writer: ZipWriter::new(window.clone()), window, options, whole: 0 }
    }

    /// Adds a file.
    pub fn add(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let end = self.window.lock().end();
        // Beginning the next file is what makes the one before it whole.
        self.writer.start_file(name, self.options).map_err(in_words)?;
        self.whole = end;
        self.writer.write_all(bytes)
    }

    /// What can go out by now.
    pub fn take(&mut self) -> Bytes {
        self.window.lock().take(self.whole)
    }

    /// Ends the zip: the rest of it.
    pub fn finish(self) -> io::Result<Bytes> {
        let Zip { writer, window, .. } = self;
        writer.finish().map_err(in_words)?;
        let mut window = window.lock();
        let end = window.end();
        Ok(window.take(end))
    }
}

fn in_words(fault: ZipError) -> io::Error {
    io::Error::other(fault)
}

#[cfg(test)]
mod tests {
    use std::io::Read;

    use jiff::civil::date;

    use super::*;

    #[test]
    fn what_goes_out_in_pieces_is_a_zip_with_every_file_whole() {
        let mut zip = Zip::new(date(2026, 3, 10).at(11, 5, 0, 0));
        let files: Vec<(String, Vec<u8>)> = (0..20_usize)
            .map(|number| (format!("photos/{number}.jpg"), vec![number as u8; number * 1_000]))
            .collect();
        let mut out = Vec::new();
        let mut held = 0;
        for (name, bytes) in &files {
            zip.add(name, bytes).unwrap();
            out.extend_from_slice(&zip.take());
            held = held.max(zip.window.lock().bytes.len());
        }
        out.extend_from_slice(&zip.finish().unwrap());
        assert!(held < 25_000, "{held} bytes were held, which is more than one file");
        let mut read = zip::ZipArchive::new(io::Cursor::new(out)).unwrap();
        assert_eq!(read.len(), files.len());
        for (name, bytes) in &files {
            let mut kept = Vec::new();
            let mut file = read.by_name(name).unwrap();
            assert_eq!(file.compression(), CompressionMethod::Stored);
            file.read_to_end(&mut kept).unwrap();
            assert_eq!(&kept, bytes, "{name}");
        }
    }

    #[test]
    fn nobody_goes_back_to_what_went_out() {
        let mut window = Window::default();
        window.write(b"abcdef").unwrap();
        assert_eq!(&window.take(4)[..], b"abcd");
        assert!(window.seek(SeekFrom::Start(3)).is_err());
        assert!(window.seek(SeekFrom::Start(7)).is_err());
        window.seek(SeekFrom::Start(4)).unwrap();
        window.write(b"EFG").unwrap();
        assert_eq!((window.end(), &window.take(9)[..]), (7, &b"EFG"[..]));
    }
}
