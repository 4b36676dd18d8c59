//! What the checker keeps in its file: what it heard last, and whom it has called. Nothing of it asks for the time.

use std::io::Write;
use std::path::Path;
use std::path::PathBuf;

use jiff::SignedDuration;
use jiff::Timestamp;
use serde::Deserialize;
use serde::Serialize;

use crate::cli::Failure;

/// A call that could not be made is tried again after this.
const TRY_AGAIN: SignedDuration = SignedDuration::from_secs(10);

/// One call to make.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Call {
    /// Which of the addresses, from 0.
    pub place: usize,
    pub silent_since: Timestamp,
    /// From 1 for each silence.
    pub round: u32,
    /// It is heard again.
    pub is_back: bool,
}

impl Call {
    /// The same for every try of one call.
    pub fn reference(&self) -> String {
        let what = if self.is_back { "back" } else { "silent" };
        format!("watch-{}-{what}-{}-{}", self.silent_since.as_millisecond(), self.round, self.place)
    }
}

/// A silence people are called about.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Silence {
    since_ms: i64,
    round: u32,
    begun_ms: i64,
    is_back: bool,
}

#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Written {
    /// The highest number heard.
    counter: i64,
    /// When; from the start of the checker on, when nothing was heard.
    heard_ms: i64,
    silence: Option<Silence>,
}

/// What is kept.
#[derive(Debug)]
pub struct Kept {
    file: PathBuf,
    written: Written,
    /// For each address of the round under way: called, or not to be tried before.
    places: Vec<Place>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    Open,
    NotBefore(Timestamp),
    Called,
}

impl Kept {
    /// Reads the file, or begins one. A checker that starts gives the server its time from now on.
    pub fn open(file: &Path, now: Timestamp) -> Result<Kept, Failure> {
        let mut written = match std::fs::read_to_string(file) {
            Ok(text) => serde_json::from_str(&text)
                .map_err(|fault| format!("{}: {fault}. Move the file away to begin anew.", file.display()))?,
            Err(fault) if fault.kind() == std::io::ErrorKind::NotFound => Written::default(),
            Err(fault) => return Err(format!("{}: {fault}", file.display()).into()),
        };
        written.heard_ms = now.as_millisecond();
        let kept = Kept { file: file.to_owned(), written, places: Vec::new() };
        kept.write().map_err(|fault| format!("{}: {fault}", file.display()))?;
        Ok(kept)
    }

    pub fn counter(&self) -> i64 {
        self.written.counter
    }

    pub fn heard(&self) -> Timestamp {
        Timestamp::from_millisecond(self.written.heard_ms).unwrap_or(Timestamp::UNIX_EPOCH)
    }

    pub fn hear(&mut self, counter: i64, now: Timestamp) {
        self.written.counter = counter;
        self.written.heard_ms = now.as_millisecond();
        if let Some(silence) = &mut self.written.silence
            && !silence.is_back
        {
            silence.is_back = true;
            self.places.clear();
        }
        self.keep();
    }

    /// The calls to make now.
    pub fn due(
        &mut self,
        silent_after: SignedDuration,
        repeat_every: SignedDuration,
        places: usize,
        now: Timestamp,
    ) -> Vec<Call> {
        let is_silent = now.duration_since(self.heard()) >= silent_after;
        let now_ms = now.as_millisecond();
        let repeat_ms = i64::try_from(repeat_every.as_millis()).unwrap_or(i64::MAX);
        let next = match self.written.silence.clone() {
            None if is_silent => {
                Some(Silence { since_ms: self.written.heard_ms, round: 1, begun_ms: now_ms, is_back: false })
            }
            // Silent again before everybody knew that it was back.
            Some(silence) if silence.is_back && is_silent => {
                Some(Silence { since_ms: self.written.heard_ms, round: 1, begun_ms: now_ms, is_back: false })
            }
            Some(silence) if !silence.is_back && now_ms - silence.begun_ms >= repeat_ms => {
                Some(Silence { round: silence.round + 1, begun_ms: now_ms, ..silence })
            }
            other => {
                if self.places.len() != places {
                    self.places = vec![Place::Open; places];
                }
                return self.calls(other.as_ref(), now);
            }
        };
        self.places = vec![Place::Open; places];
        self.written.silence = next;
        self.keep();
        self.calls(self.written.silence.clone().as_ref(), now)
    }

    fn calls(&self, silence: Option<&Silence>, now: Timestamp) -> Vec<Call> {
        let Some(silence) = silence else { return Vec::new() };
        let open = |place: &Place| match place {
            Place::Open => true,
            Place::NotBefore(at) => *at <= now,
            Place::Called => false,
        };
        let places = self.places.iter().enumerate().filter(|(_, place)| open(place));
        places
            .map(|(place, _)| Call {
                place,
                silent_since: Timestamp::from_millisecond(silence.since_ms).unwrap_or(now),
                round: silence.round,
                is_back: silence.is_back,
            })
            .collect()
    }

    pub fn called(&mut self, call: &Call) {
        if !self.is_under_way(call) {
            return;
        }
        if let Some(place) = self.places.get_mut(call.place) {
            *place = Place::Called;
        }
        // Everybody knows that it is back: that is the end of it.
        if call.is_back && self.places.iter().all(|place| *place == Place::Called) {
            self.written.silence = None;
            self.keep();
        }
    }

    pub fn not_called(&mut self, call: &Call, now: Timestamp) {
        if self.is_under_way(call)
            && let Some(place) = self.places.get_mut(call.place)
        {
            *place = Place::NotBefore(now.saturating_add(TRY_AGAIN).unwrap_or(now));
        }
    }

    /// While a call was on its way the server may have been heard.
    fn is_under_way(&self, call: &Call) -> bool {
        self.written
            .silence
            .as_ref()
            .is_some_and(|silence| silence.is_back == call.is_back && silence.round == call.round)
    }

    /// A file that cannot be written stops no call.
    fn keep(&self) {
        if let Err(fault) = self.write() {
            tracing::error!(%fault, "what the checker heard could not be kept");
        }
    }

    fn write(&self) -> std::io::Result<()> {
        let unfinished = self.file.with_extension("part");
        let mut file = std::fs::File::create(&unfinished)?;
        file.write_all(serde_json::to_string(&self.written)?.as_bytes())?;
        file.sync_all()?;
        std::fs::rename(&unfinished, &self.file)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const AFTER: SignedDuration = SignedDuration::from_secs(180);
    const REPEAT: SignedDuration = SignedDuration::from_secs(300);

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(1_772_481_600 + second).unwrap()
    }

    fn opened(folder: &Path, second: i64) -> Kept {
        Kept::open(&folder.join("state.json"), at(second)).unwrap()
    }

    /// Asks for what is due at a second, and makes every call. Rounds and whether it is back.
    fn calls(kept: &mut Kept, second: i64) -> Vec<(usize, u32, bool)> {
        let due = kept.due(AFTER, REPEAT, 2, at(second));
        for call in &due {
            kept.called(call);
        }
        due.iter().map(|call| (call.place, call.round, call.is_back)).collect()
    }

    #[test]
    fn three_minutes_of_silence_are_called_about_and_a_second_less_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let mut kept = opened(folder.path(), 0);
        kept.hear(1, at(10));
        assert_eq!(calls(&mut kept, 189), []);
        assert_eq!(calls(&mut kept, 190), [(0, 1, false), (1, 1, false)]);
        assert_eq!(calls(&mut kept, 191), []);
    }

    #[test]
    fn a_server_never_heard_is_called_about_too() {
        let folder = tempfile::tempdir().unwrap();
        let mut kept = opened(folder.path(), 0);
        assert_eq!(calls(&mut kept, 179), []);
        assert_eq!(calls(&mut kept, 180).len(), 2);
    }

    #[test]
    fn it_calls_again_every_five_minutes_until_it_hears_and_says_once_that_it_is_back() {
        let folder = tempfile::tempdir().unwrap();
        let mut kept = opened(folder.path(), 0);
        assert_eq!(calls(&mut kept, 180).len(), 2);
        assert_eq!(calls(&mut kept, 479), []);
        assert_eq!(calls(&mut kept, 480), [(0, 2, false), (1, 2, false)]);
        kept.hear(1, at(500));
        assert_eq!(calls(&mut kept, 501), [(0, 2, true), (1, 2, true)]);
        assert_eq!(calls(&mut kept, 502), []);
        assert_eq!(calls(&mut kept, 680), [(0, 1, false), (1, 1, false)], "silent once more");
    }

    #[test]
    fn a_call_that_could_not_be_made_is_made_later_and_the_others_not_twice() {
        let folder = tempfile::tempdir().unwrap();
        let mut kept = opened(folder.path(), 0);
        let due = kept.due(AFTER, REPEAT, 2, at(180));
        kept.not_called(&due[0], at(180));
        kept.called(&due[1]);
        assert_eq!(kept.due(AFTER, REPEAT, 2, at(189)), []);
        assert_eq!(kept.due(AFTER, REPEAT, 2, at(190)), due[..1]);
    }

    #[test]
    fn after_a_restart_the_number_still_counts_and_the_silence_goes_on() {
        let folder = tempfile::tempdir().unwrap();
        let mut kept = opened(folder.path(), 0);
        kept.hear(41, at(10));
        assert_eq!(calls(&mut kept, 190).len(), 2);
        let mut again = opened(folder.path(), 200);
        assert_eq!(again.counter(), 41);
        assert_eq!(calls(&mut again, 490), [(0, 2, false), (1, 2, false)]);
        again.hear(42, at(510));
        assert_eq!(calls(&mut again, 511), [(0, 2, true), (1, 2, true)]);
    }

    #[test]
    fn a_file_that_cannot_be_read_says_what_to_do() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("state.json"), "no JSON").unwrap();
        let refused = Kept::open(&folder.path().join("state.json"), at(0)).unwrap_err();
        assert!(refused.to_string().contains("Move the file away"));
    }
}
