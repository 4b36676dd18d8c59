//! The outside as a stand-in: it takes letters, refuses them, hangs, and remembers all it took.

use std::sync::Arc;
use std::sync::Mutex;

use closewatch::notify::Accepted;
use closewatch::notify::Channel;
use closewatch::notify::Letter;
use closewatch::notify::Post;
use closewatch::notify::Refused;
use closewatch::notify::StandIn;

use crate::action::Mood;

pub struct Outside {
    pub mood: Mood,
    /// References of the letters it took, in order; one that came twice stands there twice.
    pub took: Vec<String>,
}

#[derive(Clone)]
pub struct Shared(Arc<Mutex<Outside>>);

impl Shared {
    pub fn new() -> Shared {
        Shared(Arc::new(Mutex::new(Outside { mood: Mood::Takes, took: Vec::new() })))
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
        Post::to_stand_in(&channels, StandIn(Arc::new(move |letter: &Letter| outside.takes(letter))))
    }

    fn takes(&self, letter: &Letter) -> Result<Accepted, Refused> {
        let mut outside = self.0.lock().unwrap();
        let reference = letter.reference.clone();
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
