//! The loop as a small model that is searched to its end: checks, two staff, two runners that die, and a channel that loses
//! letters and doubles them. Ladders, their times and the reading order are the program's own.

#[path = "loop_model/state.rs"]
mod state;

use stateright::Checker;
use stateright::Model;

use closewatch::triage::Urgency;

use crate::state::LeftOut;
use crate::state::Loop;

/// Searched until no new state is found.
fn whole(check: Urgency, left_out: Option<LeftOut>) -> impl Checker<Loop> {
    let model = Loop { checks: vec![check], left_out };
    model.checker().threads(2).spawn_bfs().join()
}

#[test]
fn one_check_of_any_class_is_searched_to_the_end() {
    for class in [Urgency::GoNow, Urgency::RingNow, Urgency::OnTrack] {
        let searched = whole(class, None);
        println!("{class:?}: {} states, depth {}", searched.unique_state_count(), searched.max_depth());
        assert!(searched.is_done());
        searched.assert_properties();
    }
}

#[test]
fn three_checks_two_staff_two_runners_and_a_lossy_channel_are_searched_to_a_depth() {
    /// Deep enough for a check to come, be told of, be lost and be told of again while the others wait.
    const DEPTH: usize = 11;
    let model = Loop { checks: vec![Urgency::GoNow, Urgency::RingNow, Urgency::OnTrack], left_out: None };
    let searched = model.checker().threads(2).target_max_depth(DEPTH).spawn_bfs().join();
    println!("{} states, depth {}", searched.unique_state_count(), searched.max_depth());
    assert!(searched.unique_state_count() > 100_000);
    for law in state::LAWS {
        searched.assert_no_discovery(law);
    }
}

#[test]
fn without_any_one_guard_the_search_finds_the_harm() {
    let harm = [
        (LeftOut::Lease, "no rung fires early"),
        (LeftOut::SendThenNote, "what is noted went out"),
        (LeftOut::OneOwner, "only its owner decides"),
        (LeftOut::OnlyPersons, "only a person stops a ladder"),
        (LeftOut::ClaimRunsOut, "every check comes before a person"),
        (LeftOut::JobOfTheNextRung, "while it waits the next rung is queued"),
    ];
    for (left_out, law) in harm {
        let searched = whole(Urgency::GoNow, Some(left_out));
        let found = searched.discovery(law);
        assert!(found.is_some(), "without {left_out:?} {law} still holds");
    }
}
