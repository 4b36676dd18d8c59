//! How long a drill took, in words and in a picture.

use jiff::SignedDuration;

use crate::store::drills::Drill;

const WIDTH: f64 = 340.0;
const MARGIN: f64 = 22.0;
const HEIGHT: f64 = 120.0;
/// Room above the columns for the longest time.
const HEAD: f64 = 22.0;
const FOOT: f64 = 26.0;
/// Columns shown: half a year of weekly drills.
pub const COLUMNS: usize = 26;

/// "40 s", "3 min 5 s", "1 h 4 min".
pub fn took(time: SignedDuration) -> String {
    match time.as_secs() {
        ..0 => "0 s".to_owned(),
        seconds @ 0..60 => format!("{seconds} s"),
        seconds @ 60..3_600 => format!("{} min {} s", seconds / 60, seconds % 60),
        seconds => format!("{} h {} min", seconds / 3_600, seconds % 3_600 / 60),
    }
}

/// One drill.
pub struct Column {
    pub x: String,
    pub y: String,
    pub width: String,
    pub height: String,
    /// Nobody has answered it yet: drawn open, as high as the picture.
    pub is_open: bool,
}

/// Drills as columns, the oldest first: how long each waited for a person.
pub struct DrillPlot {
    pub height: String,
    pub axis_y: String,
    pub label_y: String,
    /// The longest, in words.
    pub most: String,
    pub description: String,
    pub columns: Vec<Column>,
}

fn px(length: f64) -> String {
    format!("{length:.1}")
}

impl DrillPlot {
    /// `drills`: newest first.
    pub fn of(drills: &[Drill]) -> DrillPlot {
        let shown: Vec<Option<SignedDuration>> = drills.iter().take(COLUMNS).rev().map(waited).collect();
        let longest = shown.iter().flatten().max().copied().unwrap_or(SignedDuration::ZERO);
        let step = (WIDTH - 2.0 * MARGIN) / COLUMNS as f64;
        let axis_y = HEAD + HEIGHT;
        let column = |(place, waited): (usize, &Option<SignedDuration>)| {
            let part = waited.map_or(1.0, |waited| waited.as_secs_f64() / longest.as_secs_f64().max(1.0));
            // A drill answered at once is still to be seen.
            let height = (HEIGHT * part).clamp(2.0, HEIGHT);
            Column {
                x: px(MARGIN + step * place as f64 + 1.0),
                y: px(axis_y - height),
                width: px(step - 2.0),
                height: px(height),
                is_open: waited.is_none(),
            }
        };
        DrillPlot {
            height: px(axis_y + FOOT),
            axis_y: px(axis_y),
            label_y: px(axis_y + 18.0),
            most: format!("longest: {}", took(longest)),
            description: described(&shown, longest),
            columns: shown.iter().enumerate().map(column).collect(),
        }
    }
}

fn waited(drill: &Drill) -> Option<SignedDuration> {
    drill.answered.map(|(_, at)| at.duration_since(drill.begun).max(SignedDuration::ZERO))
}

fn described(shown: &[Option<SignedDuration>], longest: SignedDuration) -> String {
    let answered = shown.iter().flatten().count();
    let newest = match shown.last() {
        Some(Some(waited)) => format!(" The newest took {}.", took(*waited)),
        Some(None) => " The newest is not answered yet.".to_owned(),
        None => String::new(),
    };
    format!(
        "{} drills, {answered} answered; the longest took {}.{newest} The table holds every one.",
        shown.len(),
        took(longest)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    use jiff::Timestamp;

    use crate::ids::Chance;
    use crate::ids::DrillId;
    use crate::ids::Moment;
    use crate::ids::PracticeId;
    use crate::ids::StaffId;

    fn drill(took_s: Option<i64>) -> Drill {
        let moment = Moment::new(Timestamp::from_second(1_772_481_600).unwrap(), Chance::seeded(1));
        let answer = |seconds| (StaffId::mint(&moment), moment.now + SignedDuration::from_secs(seconds));
        Drill {
            id: DrillId::mint(&moment),
            practice: PracticeId::mint(&moment),
            begun_by: None,
            begun: moment.now,
            answered: took_s.map(answer),
        }
    }

    #[test]
    fn a_time_is_said_in_its_two_largest_units() {
        let said = |seconds| took(SignedDuration::from_secs(seconds));
        assert_eq!(
            [0, 59, 60, 3_599, 3_600].map(said),
            ["0 s", "59 s", "1 min 0 s", "59 min 59 s", "1 h 0 min"]
        );
    }

    #[test]
    fn the_oldest_stands_first_and_the_longest_reaches_the_top() {
        let plot = DrillPlot::of(&[drill(None), drill(Some(60)), drill(Some(120))]);
        let drawn: Vec<(&str, bool)> =
            plot.columns.iter().map(|column| (column.height.as_str(), column.is_open)).collect();
        assert_eq!(drawn, [("120.0", false), ("60.0", false), ("120.0", true)]);
        assert_eq!(plot.most, "longest: 2 min 0 s");
        assert!(
            plot.description.contains("3 drills, 2 answered")
                && plot.description.contains("not answered yet")
        );
    }

    #[test]
    fn no_drill_and_one_answered_at_once_divide_by_nothing() {
        assert!(DrillPlot::of(&[]).columns.is_empty());
        assert_eq!(DrillPlot::of(&[drill(Some(0))]).columns[0].height, "2.0");
    }
}
