//! The outside as a stand-in: it takes letters, refuses them, hangs, and remembers all it took.

use std::sync::Arc;
use std::sync::Mutex;

use closewatch::notify::Accepted;
use closewatch::notify::Channel;
use closewatch::notify::Letter;
use closewatch::notify::Post;
use closewatch::notify::Refused;
use closewatch::notify::StandIn;
use futures::FutureExt;
use tokio::task::yield_now;

use crate::action::Mood;

pub struct Outside {
    pub mood: Mood,
    /// References of the letters it took, in order; one that came twice stands there twice.
    pub took: Vec<String>,
    is_asked: bool,
}

#[derive(Clone)]
pub struct Shared(Arc<Mutex<Outside>>);

impl Shared {
    pub fn new() -> Shared {
        Shared(Arc::new(Mutex::new(Outside { mood: Mood::Takes, took: Vec::new(), is_asked: false })))
    }

    pub fn set(&self, mood: Mood) {
        self.0.lock().unwrap().mood = mood;
    }

    pub fn mood(&self) -> Mood {
        self.0.lock().unwrap().mood
    }

    pub fn took(&self) -> Vec<String> {
        self.0.lock().unwrap().took.clone()
    }

    pub fn post(&self) -> Post {
        let outside = self.clone();
        let channels = [Channel::Sms, Channel::Email, Channel::Voice];
        let takes = move |letter: &Letter| outside.clone().knocked_at(letter.reference.clone()).boxed();
        Post::to_stand_in(&channels, StandIn(Arc::new(takes)))
    }

    /// Whether a letter is on its way at this moment: sent, and not taken yet.
    pub fn is_being_asked(&self) -> bool {
        self.0.lock().unwrap().is_asked
    }

    /// The program can be killed before the outside has the letter, and after.
    async fn knocked_at(self, reference: String) -> Result<Accepted, Refused> {
        let asking = Asking::begins(&self);
        yield_now().await;
        drop(asking);
        let answer = self.takes(reference);
        yield_now().await;
        answer
    }

    fn takes(&self, reference: String) -> Result<Accepted, Refused> {
        let mut outside = self.0.lock().unwrap();
        match outside.mood {
            Mood::Takes => {
                outside.took.push(reference.clone());
                Ok(Accepted { provider_id: Some(reference) })
            }
            Mood::TakesAndHangs => {
                outside.took.push(reference);
                Err(Refused::Later { why: "no answer in time".to_owned(), after: None })
            }
            Mood::RefusesForNow => Err(Refused::Later { why: "busy".to_owned(), after: None }),
            Mood::RefusesForGood => Err(Refused::Never { why: "no such number".to_owned() }),
        }
    }
}

/// A letter on its way; no longer once it is taken, or its sender is dead.
struct Asking<'a>(&'a Shared);

impl Asking<'_> {
    fn begins(outside: &Shared) -> Asking<'_> {
        outside.0.lock().unwrap().is_asked = true;
        Asking(outside)
    }
}

impl Drop for Asking<'_> {
    fn drop(&mut self) {
        self.0.0.lock().unwrap().is_asked = false;
    }
}
