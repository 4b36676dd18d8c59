//! The strip at the top of every staff page: how much waits that nobody sees to.

use crate::care::Done;
use crate::care::alarms;
use crate::care::alarms::Waiting;
use crate::store::Conn;
use crate::store::staff::StaffMember;

/// Ready to show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Strip {
    pub words: String,
    pub is_emergency: bool,
}

impl Strip {
    /// What waits in this member's practice; `None`: nothing.
    pub async fn of(conn: &mut Conn, member: &StaffMember) -> Done<Option<Strip>> {
        Ok(strip(alarms::waiting(conn, member).await?))
    }
}

fn strip(waiting: Waiting) -> Option<Strip> {
    let emergencies = match waiting.emergencies {
        0 => String::new(),
        1 => ", 1 an emergency".to_owned(),
        many => format!(", {many} emergencies"),
    };
    let called = match waiting.called {
        0 => None,
        1 if waiting.emergencies == 1 => Some("An emergency waits and nobody sees to it yet.".to_owned()),
        1 => Some("1 thing waits and nobody sees to it yet.".to_owned()),
        many => Some(format!("{many} things wait and nobody sees to them yet{emergencies}.")),
    };
    let alarms = match waiting.alarms {
        0 => None,
        1 => Some("1 alarm.".to_owned()),
        many => Some(format!("{many} alarms.")),
    };
    let words: Vec<String> = [called, alarms].into_iter().flatten().collect();
    (!words.is_empty()).then(|| Strip { words: words.join(" "), is_emergency: waiting.emergencies > 0 })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(called: usize, emergencies: usize, alarms: usize) -> String {
        strip(Waiting { called, emergencies, alarms }).map_or_else(String::new, |strip| strip.words)
    }

    #[test]
    fn the_strip_counts_what_nobody_sees_to_and_is_not_there_otherwise() {
        assert_eq!(words(0, 0, 0), "");
        assert_eq!(words(1, 0, 0), "1 thing waits and nobody sees to it yet.");
        assert_eq!(words(1, 1, 0), "An emergency waits and nobody sees to it yet.");
        assert_eq!(words(3, 1, 1), "3 things wait and nobody sees to them yet, 1 an emergency. 1 alarm.");
        assert_eq!(words(2, 2, 0), "2 things wait and nobody sees to them yet, 2 emergencies.");
        assert_eq!(words(0, 0, 4), "4 alarms.");
    }
}
