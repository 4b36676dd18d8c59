//! Heavy work, a few at once, and a waiting room before it that has only so many places: whoever finds it full is told at
//! once, and told when to come again.

use std::sync::Arc;

use tokio::sync::OwnedSemaphorePermit;
use tokio::sync::Semaphore;

use crate::care::CareError;
use crate::care::Done;

/// First come, first served.
#[derive(Clone, Debug)]
pub(in crate::care) struct WaitingRoom {
    working: Arc<Semaphore>,
    /// Whoever works or waits to.
    places: Arc<Semaphore>,
    at_once: usize,
}

/// A place in the room; given back when it is dropped.
#[derive(Debug)]
pub(in crate::care) struct Place {
    working: Arc<Semaphore>,
    place: OwnedSemaphorePermit,
}

/// Leave to work; given back when it is dropped.
#[derive(Debug)]
pub(in crate::care) struct Turn {
    _working: OwnedSemaphorePermit,
    _place: Option<OwnedSemaphorePermit>,
}

impl WaitingRoom {
    /// `at_once` work, and `waits` more may wait.
    pub fn new(at_once: usize, waits: usize) -> WaitingRoom {
        WaitingRoom {
            working: Arc::new(Semaphore::new(at_once)),
            places: Arc::new(Semaphore::new(at_once + waits)),
            at_once,
        }
    }

    /// A place; `None`: there is none left.
    pub fn enter(&self) -> Option<Place> {
        let place = Arc::clone(&self.places).try_acquire_owned().ok()?;
        Some(Place { working: Arc::clone(&self.working), place })
    }

    /// Whether there is no place left just now.
    pub fn is_full(&self) -> bool {
        self.places.available_permits() == 0
    }

    /// Whether anybody works.
    pub fn is_at_work(&self) -> bool {
        self.working.available_permits() < self.at_once
    }

    /// A turn for whoever is never sent away, behind those who came before.
    pub async fn turn(&self) -> Done<Turn> {
        Ok(Turn { _working: work(&self.working).await?, _place: None })
    }
}

impl Place {
    /// Waits until it is this one's turn.
    pub async fn turn(self) -> Done<Turn> {
        Ok(Turn { _working: work(&self.working).await?, _place: Some(self.place) })
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
        assert!(!room.is_at_work(), "a place is not a turn");
        let first = places.remove(0).turn().await.unwrap();
        let _second = places.remove(0).turn().await.unwrap();
        let third = tokio::spawn(places.remove(0).turn());
        tokio::task::yield_now().await;
        assert!(!third.is_finished() && room.is_at_work(), "two work already");
        drop(first);
        third.await.unwrap().unwrap();
        assert!(room.enter().is_some(), "a place is given back with the work");
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
