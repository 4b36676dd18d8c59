//! The desk everything is done at: the books, the photo store, the protocol in force, and who is told of changes.

use std::sync::Arc;
use std::sync::Mutex;

use tokio::sync::Semaphore;
use tokio::sync::broadcast;

use crate::care::decoder::Decoder;
use crate::care::gates::Gates;
use crate::care::gates::Held;
use crate::care::outbox::Refusals;
use crate::care::protocols::ReadProtocols;
use crate::care::trial::Trials;
use crate::care::turned_away::TurnedAway;
use crate::care::vitals::Machine;
use crate::care::vitals::Vitals;
use crate::ids::PracticeId;
use crate::photo::Limits;
use crate::store::Blobs;
use crate::store::Db;
use crate::triage::Protocol;

/// Something on a practice's lists changed; whoever shows them reads them again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct News {
    pub practice: PracticeId,
}

/// Cheap to clone.
#[derive(Clone, Debug)]
pub struct Desk {
    pub db: Db,
    pub blobs: Blobs,
    /// The one the program comes with. What a practice sorts by is [`crate::care::protocols::in_force`].
    pub program_protocol: Arc<Protocol>,
    pub(in crate::care) protocols: ReadProtocols,
    pub(in crate::care) trials: Trials,
    pub limits: Limits,
    /// Who decodes what patients send.
    pub decoder: Decoder,
    /// Limits in memory: who knocks too often, and how much heavy work may wait.
    pub(in crate::care) gates: Arc<Gates>,
    /// A photo being measured holds one until its thread ends, whether or not somebody still waits for it.
    pub(in crate::care) measuring: Arc<Semaphore>,
    /// A forecast being played holds one.
    pub(in crate::care) playing: Arc<Semaphore>,
    /// Calls at the providers' door that were not believed.
    pub(in crate::care) refusals: Arc<Mutex<Refusals>>,
    /// Whom a door did not let in, and who came up against a limit.
    pub(in crate::care) turned_away: Arc<TurnedAway>,
    /// Signs of life of the program itself.
    pub vitals: Vitals,
    news: broadcast::Sender<News>,
}

const MEASURING_AT_ONCE: usize = 2;
const PLAYING_AT_ONCE: usize = 1;
/// A listener further behind than this is told that it missed something, and reads everything again.
const NEWS_KEPT: usize = 256;

impl Desk {
    /// It decodes in this process; a server says [`Desk::decoded_by`].
    pub fn new(db: Db, blobs: Blobs, program_protocol: Protocol, limits: Limits) -> Desk {
        Desk {
            // Texts are sealed with the keys of the photos.
            db: db.sealed_with(blobs.seals()),
            blobs,
            program_protocol: Arc::new(program_protocol),
            protocols: ReadProtocols::default(),
            trials: Trials::default(),
            limits,
            decoder: Decoder::InProcess,
            gates: Arc::default(),
            measuring: Arc::new(Semaphore::new(MEASURING_AT_ONCE)),
            playing: Arc::new(Semaphore::new(PLAYING_AT_ONCE)),
            refusals: Arc::default(),
            turned_away: Arc::default(),
            vitals: Vitals::default(),
            news: broadcast::channel(NEWS_KEPT).0,
        }
    }

    /// The same desk, with photos decoded there.
    pub fn decoded_by(self, decoder: Decoder) -> Desk {
        Desk { decoder, ..self }
    }

    /// The same desk on a machine that is looked after.
    pub fn on(self, machine: Machine) -> Desk {
        Desk { vitals: Vitals::on(machine), ..self }
    }

    /// Bytes of a picture that is about to come in.
    pub fn arriving(&self) -> Held {
        self.gates.arriving.begin()
    }

    pub fn listen(&self) -> broadcast::Receiver<News> {
        self.news.subscribe()
    }

    /// Tells the listeners; that nobody listens is no fault.
    pub(in crate::care) fn tell(&self, practice: PracticeId) {
        let _ = self.news.send(News { practice });
    }
}
