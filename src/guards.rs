//! The guards of the loop, by name. Each always stands; only a test can leave one out, to see that the others notice.
//!
//! Without the feature `doubles`, which nothing but tests switches on, a guard is a constant and costs nothing.

/// What keeps a check from being lost, delayed or doubled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guard {
    /// A change and what follows from it commit together.
    OneTransaction,
    /// Work queued twice under one key is queued once.
    OnceKey,
    /// Whoever ends a job must still have its lease.
    LeaseAtTheEnd,
    /// A clock set back brings what waits nearer.
    ClockSetBack,
    /// A letter is noted as sent after it was sent.
    SendThenNote,
    /// What is said later never lowers a check.
    NeverLower,
    /// A call about an emergency cannot end as "could not reach".
    EmergencyIsReached,
    /// Nothing urgent waits for the morning.
    UrgentAtNight,
    /// A letter refused twice takes another way as well.
    AnotherWay,
    /// Where nobody is on duty the next rung does not wait.
    NextWhenNobody,
    /// Without a roster every surgeon is on duty.
    BlankRoster,
    /// A claim that ran out leaves its check waiting alone.
    ClaimRunsOut,
    /// Nobody decides what somebody else has claimed.
    OneOwner,
    /// A surgeon's check that was handed back waits again.
    HandedBackWaits,
    /// What came while a surgeon was reading is seen before the check is decided.
    DecidedAsSeen,
    /// Whoever only takes a check has not seen it.
    OnlyALookIsSeen,
    /// What a patient adds, nobody has seen.
    AddedIsUnseen,
}

#[cfg(not(feature = "doubles"))]
pub const fn stands(_guard: Guard) -> bool {
    true
}

#[cfg(feature = "doubles")]
pub use with_doubles::leave_out;
#[cfg(feature = "doubles")]
pub use with_doubles::stands;

#[cfg(feature = "doubles")]
mod with_doubles {
    use std::cell::Cell;

    use crate::guards::Guard;

    thread_local! {
        static LEFT_OUT: Cell<Option<Guard>> = const { Cell::new(None) };
    }

    pub fn stands(guard: Guard) -> bool {
        LEFT_OUT.get() != Some(guard)
    }

    /// On this thread, until the next call. `None`: all guards stand.
    pub fn leave_out(guard: Option<Guard>) {
        LEFT_OUT.set(guard);
    }
}
