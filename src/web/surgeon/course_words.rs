//! A healing course in a surgeon's English: what it comes to, the sentences behind it, and every figure with its
//! interval.

use crate::wound::Family;
use crate::wound::Figure;
use crate::wound::course::Change;
use crate::wound::course::Clear;
use crate::wound::course::Closure;
use crate::wound::course::DEPTH_FIRST_DAYS;
use crate::wound::course::HealingCourse;
use crate::wound::course::Keeps;
use crate::wound::course::LeftOut;
use crate::wound::course::NoClosure;
use crate::wound::course::Verdict;
use crate::wound::course::Why;
use crate::wound::course::WidthTest;

/// One figure of the course, ready to be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CourseLine {
    pub name: &'static str,
    pub words: String,
}

/// What a course comes to for the area, in a few words.
pub fn verdict(course: &HealingCourse) -> &'static str {
    let stands_still = course.why.iter().any(|why| matches!(why, Why::WouldHaveShown { .. }));
    match course.verdict {
        Verdict::OnCourse => "on course",
        Verdict::Stalled if stands_still => "stalled",
        Verdict::Stalled => "closing too slowly",
        Verdict::Enlarging => "enlarging",
        Verdict::TooEarly => "too early to tell",
        Verdict::NotEnough => "not enough to tell",
    }
}

/// Redness that clearly grew over the course; it is said before the verdict, which is about the area alone. `None`: it did
/// not, or nobody can tell.
pub fn redness_spreads(course: &HealingCourse) -> Option<String> {
    let change = course.redness.change.as_ref().filter(|change| change.says == Clear::Bigger)?;
    Some(format!("The redness spreads: {}.", redness(change, course.redness.days_between)))
}

/// A stable code for the look of the verdict.
pub fn verdict_code(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::OnCourse => "on_course",
        Verdict::Stalled => "stalled",
        Verdict::Enlarging => "enlarging",
        Verdict::TooEarly => "too_early",
        Verdict::NotEnough => "not_enough",
    }
}

/// One sentence behind the verdict.
pub fn why(why: &Why) -> String {
    match *why {
        Why::FewPhotos { counted: 0 } => {
            "No photo has figures that count; a course needs two, a week apart.".to_owned()
        }
        Why::FewPhotos { counted } => {
            format!("Only {counted} photo has figures that count; a course needs two, a week apart.")
        }
        Why::ShortSpan { days } => {
            format!("First and last photo are {days:.0} days apart; a course needs a week.")
        }
        Why::Area { change_percent, least_clear_percent, days }
            if change_percent.abs() > least_clear_percent =>
        {
            format!(
                "Area {} in {days:.0} days; clear from {least_clear_percent:.0}\u{a0}% on.",
                signed_percent(change_percent)
            )
        }
        Why::Area { change_percent, least_clear_percent, days } => format!(
            "No clear change of the area in {days:.0} days: {}, and up to {least_clear_percent:.0}\u{a0}% either way is measuring error.",
            signed_percent(change_percent)
        ),
        Why::WaitForMore { would_show_percent, least_clear_percent } => format!(
            "A wound closing in time would be {would_show_percent:.0}\u{a0}% smaller by now, too little to tell from the measuring error of {least_clear_percent:.0}\u{a0}%: one later photo will tell."
        ),
        Why::WouldHaveShown { would_show_percent, closes_by_day } => format!(
            "A wound of this shape that closes by day {closes_by_day:.0} would have become {would_show_percent:.0}\u{a0}% smaller in that time."
        ),
        Why::Width(test) => width(&test),
        Why::FillsFromBelow { until_day } => format!(
            "A drained wound fills from the bottom first: up to day {until_day:.0} its area may stand still while the depth falls. A photo cannot see the depth."
        ),
        Why::DepthFalls(depth) => format!(
            "The depth falls: {:.0} mm on day {:.0}, {:.0} mm on day {:.0}, as typed in at visits.",
            depth.from_mm, depth.from_day, depth.to_mm, depth.to_day
        ),
        Why::Apart { day, area_mm2 } => format!(
            "The photo of day {day:.0} ({} cm²) does not fit the others and is left out of the sums. Look at it.",
            cm2(area_mm2)
        ),
    }
}

fn width(test: &WidthTest) -> String {
    let keeps = match test.says {
        Keeps::Up => "It keeps up.",
        Keeps::BehindOnce => "It is behind, which counts when a photo a week apart says so too.",
        Keeps::Behind => "It is behind, on two photos a week apart.",
    };
    format!(
        "Width {:.0} mm on day {:.0}, from {:.0} mm on day {:.0}; round or slit, a wound that closes by day {:.0} shows {:.0} mm, and above {:.0} mm it is behind. {keeps}",
        test.width_mm,
        test.day,
        test.first_width_mm,
        test.first_day,
        test.closes_by_day,
        test.expected_mm,
        test.behind_above_mm
    )
}

/// Whose outlines the figures rest on, and what is not in them.
pub fn basis(course: &HealingCourse) -> String {
    let photos = |count: usize| if count == 1 { "1 photo".to_owned() } else { format!("{count} photos") };
    let whose = match course.family {
        Some(Family::Automatic) => "outlines found by the program",
        Some(Family::ByHand) => "outlines drawn or confirmed by a person",
        None => return "Nothing is measured yet.".to_owned(),
    };
    let mut words = format!("{}, {whose}; the two are never mixed.", photos(course.points.len()));
    if course.methods.len() > 1 {
        let versions = course.methods.join(" and ");
        words.push_str(&format!(
            " Found by versions {versions} of the method, which may differ by themselves."
        ));
    }
    let left_out = left_out(&course.left_out);
    if !left_out.is_empty() {
        words.push_str(&format!(" Left out: {left_out}."));
    }
    words
}

fn left_out(left_out: &LeftOut) -> String {
    let parts = [
        (left_out.other_family, "measured the other way only"),
        (left_out.replaced, "drawn differently by a person"),
        (left_out.same_moment, "of the same moment as a surer one"),
        (left_out.unconfirmed, "waiting for somebody to confirm the outline"),
        (left_out.refused, "that could not be measured"),
    ];
    let parts = parts.into_iter().filter(|(count, _)| *count > 0);
    parts.map(|(count, words)| format!("{count} {words}")).collect::<Vec<_>>().join(", ")
}

/// Every figure of the course that there is.
pub fn lines(course: &HealingCourse) -> Vec<CourseLine> {
    let mut lines = Vec::new();
    let mut line = |name, words: Option<String>| lines.extend(words.map(|words| CourseLine { name, words }));
    line("Area since the first photo", course.since_first.as_ref().map(area));
    line("Area since the photo before", course.since_last.as_ref().map(area));
    line(
        "Smaller by day 28",
        course.par_28.map(|par_28| {
            format!("{} (day {:.0} against day {:.0})", percent(&par_28.percent), par_28.day, par_28.from_day)
        }),
    );
    line(
        "The edge moves in",
        course.advance.map(|advance| {
            let speed = advance.mm_a_week;
            format!("{} mm a week ({})", number(speed.value, 1), range(&speed, 1))
        }),
    );
    line(
        "The way left to the middle",
        course.inward_reach_mm.map(|reach| format!("{reach:.0} mm (2 × area ÷ edge)")),
    );
    line(
        "Rate",
        course.rate.map(|rate| match rate.half_life_weeks {
            Some(weeks) => format!(
                "{} a week, half the area in {weeks:.1} weeks; for comparing, it never reaches zero",
                number(rate.a_week, 2)
            ),
            None => format!("{} a week", number(rate.a_week, 2)),
        }),
    );
    line("Edges would meet", Some(closure(&course.closure)));
    line(
        "Redness",
        course.redness.change.as_ref().map(|change| redness(change, course.redness.days_between)),
    );
    lines
}

/// When the edges would meet, or why nobody can say.
pub fn closure(closure: &Result<Closure, NoClosure>) -> String {
    match closure {
        Ok(Closure { from_day, to_day }) => format!(
            "between day {from_day:.0} and day {to_day:.0}, if they go on as so far; the depth is not in it"
        ),
        Err(NoClosure::TooEarly) => format!(
            "cannot be told yet: it takes two photos a week apart, and day {DEPTH_FIRST_DAYS:.0} or a clear change"
        ),
        Err(NoClosure::NotShrinking) => "cannot be told: the edge is not clearly moving in".to_owned(),
        Err(NoClosure::TooFar) => {
            "cannot be told: it may take more than half a year at this speed".to_owned()
        }
    }
}

/// A change of area: "9.5 → 2.6 cm², −73 %".
pub fn area(change: &Change) -> String {
    let percent = change.percent.map_or(String::new(), |percent| format!(", {}", signed_percent(percent)));
    let (before, now) = (cm2(change.before.value), cm2(change.now.value));
    format!("{before} → {now} cm²{percent}{}", clear(change))
}

/// A change of redness: "17 → 33 mm, 16 mm more in 1 day".
pub fn redness(change: &Change, days: Option<f64>) -> String {
    let by = if change.by < 0.0 { "less" } else { "more" };
    let time = days.map_or(String::new(), |days| format!(" in {}", span(days)));
    let (before, now) = (change.before.value, change.now.value);
    format!("{before:.0} → {now:.0} mm, {:.0} mm {by}{time}{}", change.by.abs(), clear(change))
}

/// "20 hours", "1 day", "3 days".
pub fn span(days: f64) -> String {
    match days {
        _ if days < 0.95 => format!("{:.0} hours", 24.0 * days),
        _ if days < 1.5 => "1 day".to_owned(),
        _ => format!("{days:.0} days"),
    }
}

fn clear(change: &Change) -> &'static str {
    match change.says {
        Clear::Smaller | Clear::Bigger => "",
        Clear::NoClearChange => ": no clear change",
    }
}

/// An area in cm², finer below 1.
pub fn cm2(area_mm2: f64) -> String {
    let cm2 = area_mm2 / 100.0;
    if cm2 < 1.0 { format!("{cm2:.2}") } else { format!("{cm2:.1}") }
}

fn signed_percent(percent: f64) -> String {
    let sign = if percent < -0.5 { "−" } else { "+" };
    match percent.abs() {
        small if small < 0.5 => "0\u{a0}%".to_owned(),
        size => format!("{sign}{size:.0}\u{a0}%"),
    }
}

fn percent(figure: &Figure) -> String {
    format!("{}\u{a0}% ({})", number(figure.value, 0), range(figure, 0))
}

fn range(figure: &Figure, decimals: usize) -> String {
    format!("{} to {}", number(figure.low, decimals), number(figure.high, decimals))
}

fn number(value: f64, decimals: usize) -> String {
    format!("{value:.decimals$}").replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_are_written_with_their_sign_and_what_is_inside_the_error_says_so() {
        let change = |now: f64, band: f64, says| Change {
            before: Figure::new(950.0, 900.0, 1_000.0),
            now: Figure::new(now, now, now),
            by: now - 950.0,
            percent: Some(100.0 * (now / 950.0 - 1.0)),
            band,
            says,
        };
        assert_eq!(area(&change(260.0, 100.0, Clear::Smaller)), "9.5 → 2.6 cm², −73\u{a0}%");
        assert_eq!(
            area(&change(950.0, 100.0, Clear::NoClearChange)),
            "9.5 → 9.5 cm², 0\u{a0}%: no clear change"
        );
        assert_eq!(cm2(99.0), "0.99");
        assert_eq!(
            (span(0.5), span(1.0), span(2.0)),
            ("12 hours".to_owned(), "1 day".to_owned(), "2 days".to_owned())
        );
    }

    #[test]
    fn stalled_is_said_of_what_stands_still_and_slow_of_what_lags() {
        let mut course = crate::wound::course::healing_course(
            &[],
            &crate::wound::course::Setting {
                surface: crate::wound::course::Surface::Flat,
                pace: crate::wound::course::Pace::Usual,
            },
        );
        assert_eq!(verdict(&course), "not enough to tell");
        assert_eq!(basis(&course), "Nothing is measured yet.");
        course.verdict = Verdict::Stalled;
        assert_eq!(verdict(&course), "closing too slowly");
        course.why.push(Why::WouldHaveShown { would_show_percent: 40.0, closes_by_day: 60.0 });
        assert_eq!(verdict(&course), "stalled");
    }
}
