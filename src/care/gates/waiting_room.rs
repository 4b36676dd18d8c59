//! Heavy work, a few at once, and a waiting room before it that has only so many places: whoever finds it full is told at
//! once, and told when to come again.

use std::sync::Arc;

use tokio::sync::OwnedSemaphorePermit;
use tokio::sync::Semaphore;
use tokio::sync::watch;

use crate::care::CareError;
use crate::care::Done;

/// First come, first served.
#[derive(Clone, Debug)]
pub(in crate::care) struct WaitingRoom {
    working: Arc<Semaphore>,
    /// Whoever works or waits to.
    places: Arc<Semaphore>,
    at_work: AtWork,
}

/// How many work.
type AtWork = Arc<watch::Sender<usize>>;

/// A place in the room; given back when it is dropped.
#[derive(Debug)]
pub(in crate::care) struct Place {
    working: Arc<Semaphore>,
    place: OwnedSemaphorePermit,
    at_work: AtWork,
}

/// Leave to work; given back when it is dropped.
#[derive(Debug)]
pub(in crate::care) struct Turn {
    _working: OwnedSemaphorePermit,
    _place: Option<OwnedSemaphorePermit>,
    at_work: AtWork,
}

impl Turn {
    fn begin(working: OwnedSemaphorePermit, place: Option<OwnedSemaphorePermit>, at_work: &AtWork) -> Turn {
        at_work.send_modify(|many| *many += 1);
        Turn { _working: working, _place: place, at_work: Arc::clone(at_work) }
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        self.at_work.send_modify(|many| *many -= 1);
    }
}

impl WaitingRoom {
    /// `at_once` work, and `waits` more may wait.
    pub fn new(at_once: usize, waits: usize) -> WaitingRoom {
        WaitingRoom {
            working: Arc::new(Semaphore::new(at_once)),
            places: Arc::new(Semaphore::new(at_once + waits)),
            at_work: Arc::new(watch::Sender::new(0)),
        }
    }

    /// A place; `None`: there is none left.
    pub fn enter(&self) -> Option<Place> {
        let place = Arc::clone(&self.places).try_acquire_owned().ok()?;
        Some(Place { working: Arc::clone(&self.working), place, at_work: Arc::clone(&self.at_work) })
    }

    /// Whether there is no place left just now.
    pub fn is_full(&self) -> bool {
        self.places.available_permits() == 0
    }

    /// Waits until nobody works.
    pub async fn at_rest(&self) {
        // The sender is held here: it cannot be gone.
        let _ = self.at_work.subscribe().wait_for(|many| *many == 0).await;
    }

    /// A turn for whoever is never sent away, behind those who came before.
    pub async fn turn(&self) -> Done<Turn> {
        Ok(Turn::begin(work(&self.working).await?, None, &self.at_work))
    }
}

impl Place {
    /// Waits until it is this one's turn.
    pub async fn turn(self) -> Done<Turn> {
        Ok(Turn::begin(work(&self.working).await?, Some(self.place), &self.at_work))
    }
}

async fn work(working: &Arc<Semaphore>) -> Done<OwnedSemaphorePermit> {
    Arc::clone(working).acquire_owned().await.map_err(|closed| CareError::Work(closed.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn two_work_three_wait_and_the_sixth_is_told_at_once() {
        let room = WaitingRoom::new(2, 3);
        let mut places: Vec<Place> = (0..5).map(|_| room.enter().unwrap()).collect();
        assert!(room.enter().is_none() && room.is_full(), "the sixth");
        room.at_rest().await;
        let first = places.remove(0).turn().await.unwrap();
        let _second = places.remove(0).turn().await.unwrap();
        let third = tokio::spawn(places.remove(0).turn());
        tokio::task::yield_now().await;
        assert!(!third.is_finished(), "two work already");
        drop(first);
        third.await.unwrap().unwrap();
        assert!(room.enter().is_some(), "a place is given back with the work");
    }

    #[tokio::test]
    async fn a_room_is_at_rest_when_the_last_turn_ended_whoever_holds_a_place() {
        let room = WaitingRoom::new(2, 3);
        let (first, second) = (room.turn().await.unwrap(), room.turn().await.unwrap());
        let _place = room.enter().unwrap();
        let rest = tokio::spawn({
            let room = room.clone();
            async move { room.at_rest().await }
        });
        drop(first);
        tokio::task::yield_now().await;
        assert!(!rest.is_finished(), "one still works");
        drop(second);
        rest.await.unwrap();
    }

    #[tokio::test]
    async fn whoever_is_never_sent_away_waits_though_the_room_is_full() {
        let room = WaitingRoom::new(1, 0);
        let turn = room.enter().unwrap().turn().await.unwrap();
        assert!(room.enter().is_none());
        let patient = tokio::spawn({
            let room = room.clone();
            async move { room.turn().await.is_ok() }
        });
        tokio::task::yield_now().await;
        assert!(!patient.is_finished());
        drop(turn);
        assert!(patient.await.unwrap());
    }
}
