//! How much room is left on the disk: an alarm comes before photos are refused, and photos are refused before answers find
//! none (safety promise U10).

use crate::care::Desk;
use crate::care::Done;
use crate::care::alarms::of_practice;
use crate::care::alarms::of_practice::Actions;
use crate::care::vitals::Machine;
use crate::ids::Moment;
use crate::ids::PracticeId;
use crate::store::alarms::AlarmKind;
use crate::store::server;
use crate::store::server::Space;

/// An alarm comes at so many times what photos need.
const ALARM_AT: u64 = 2;

/// What the disk still takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Room {
    /// Not enough for photos; answers are small, and taken as long as the books take them.
    AnswersOnly,
    /// Everything, but not for long.
    Filling,
    Plenty,
}

fn judged(space: Space, machine: &Machine) -> Room {
    let needed = machine.photos_need_bytes.min(space.size_bytes / machine.photos_need_part.max(1));
    match space.free_bytes {
        free if free < needed => Room::AnswersOnly,
        free if free < needed.saturating_mul(ALARM_AT) => Room::Filling,
        _ => Room::Plenty,
    }
}

/// How it stands where the photos lie. Where that cannot be asked, a write will tell.
pub fn now(desk: &Desk) -> Room {
    let machine = desk.vitals.machine();
    let Some(folder) = &machine.data_folder else { return Room::Plenty };
    server::space(folder).map_or(Room::Plenty, |space| judged(space, machine))
}

/// Raises the alarm of one practice, or ends it.
pub(in crate::care) async fn see_to(desk: &Desk, practice: PracticeId, moment: &Moment) -> Done<()> {
    let is_filling = now(desk) != Room::Plenty;
    let actions = Actions { begins: "disk.filling", ends: "disk.room" };
    of_practice::set(desk, practice, AlarmKind::DiskFilling, is_filling, actions, "", moment).await
}

#[cfg(test)]
mod tests {
    use super::*;

    const GIB: u64 = 1_024 * 1_024 * 1_024;

    fn room(free_bytes: u64, size_bytes: u64) -> Room {
        judged(Space { free_bytes, size_bytes }, &Machine::default())
    }

    #[test]
    fn on_a_large_disk_photos_need_two_gib_and_the_alarm_comes_at_four() {
        assert_eq!(room(4 * GIB, 500 * GIB), Room::Plenty);
        assert_eq!(room(4 * GIB - 1, 500 * GIB), Room::Filling);
        assert_eq!(room(2 * GIB, 500 * GIB), Room::Filling);
        assert_eq!(room(2 * GIB - 1, 500 * GIB), Room::AnswersOnly);
    }

    #[test]
    fn on_a_small_disk_photos_need_a_tenth_and_the_alarm_comes_at_a_fifth() {
        assert_eq!(room(2 * GIB, 10 * GIB), Room::Plenty);
        assert_eq!(room(2 * GIB - 1, 10 * GIB), Room::Filling);
        assert_eq!(room(GIB, 10 * GIB), Room::Filling);
        assert_eq!(room(GIB - 1, 10 * GIB), Room::AnswersOnly);
        assert_eq!(room(0, 10 * GIB), Room::AnswersOnly);
    }

    #[test]
    fn where_no_folder_is_known_nothing_is_refused() {
        assert!(Machine::default().data_folder.is_none());
        assert_eq!(room(0, 0), Room::Plenty, "a disk without a size says nothing");
    }
}
