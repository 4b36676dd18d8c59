//! Plots drawn on the server: shares with their intervals, and the hours of the day. Lengths are in the units of the
//! picture, which is 340 wide: a phone shows it at about its own size.

use crate::triage::figures::Response;
use crate::triage::figures::Share;
use crate::web::practice::figure_words;

const WIDTH: f64 = 340.0;
/// Room left and right of the axis, so that its end labels stay inside.
const MARGIN: f64 = 22.0;
const ROW_HEIGHT: f64 = 46.0;
/// Room below the rows or columns for the axis and its labels.
const FOOT: f64 = 26.0;

/// Shares as points with their intervals, one row each, over an axis from 0 to 100 %.
pub struct IntervalPlot {
    /// Told apart from the other plots of its page.
    pub id: &'static str,
    pub title: String,
    /// Everything the picture shows, in words.
    pub description: String,
    pub height: String,
    pub axis_y: String,
    pub ticks: Vec<Tick>,
    pub rows: Vec<IntervalRow>,
    /// A dashed line at the limit of the first row; `None`: it has none.
    pub limit: Option<Tick>,
    pub limit_end_y: String,
}

/// A place on an axis and its label.
pub struct Tick {
    pub at: String,
    pub label: String,
}

/// One share.
pub struct IntervalRow {
    pub label: String,
    pub label_y: String,
    pub y: String,
    pub top: String,
    pub bottom: String,
    /// `None`: too few cases, which is written instead.
    pub mark: Option<Mark>,
    pub too_few: String,
}

/// Where a share and its interval lie.
pub struct Mark {
    pub low: String,
    pub value: String,
    pub high: String,
}

fn px(length: f64) -> String {
    format!("{length:.1}")
}

/// Where a part of the whole lies on the axis.
fn along(part: f64) -> f64 {
    MARGIN + part.clamp(0.0, 1.0) * (WIDTH - 2.0 * MARGIN)
}

impl IntervalPlot {
    /// `rows`: a label for each share. `limit`: a part of the whole that the first is compared with, and its label.
    pub fn of(
        id: &'static str,
        title: &str,
        rows: &[(String, Share)],
        limit: Option<(f64, String)>,
    ) -> IntervalPlot {
        let axis_y = ROW_HEIGHT * rows.len() as f64 + 8.0;
        let ticks = [0.0, 0.25, 0.5, 0.75, 1.0];
        IntervalPlot {
            id,
            title: title.to_owned(),
            description: described(rows, limit.as_ref().map(|(_, label)| label.as_str())),
            height: px(axis_y + FOOT),
            axis_y: px(axis_y),
            ticks: ticks
                .iter()
                .map(|part| Tick { at: px(along(*part)), label: format!("{:.0} %", 100.0 * part) })
                .collect(),
            rows: rows.iter().enumerate().map(|(place, (label, share))| row(place, label, *share)).collect(),
            limit: limit.map(|(part, label)| Tick { at: px(along(part)), label }),
            limit_end_y: px(ROW_HEIGHT),
        }
    }
}

fn row(place: usize, label: &str, share: Share) -> IntervalRow {
    let top = ROW_HEIGHT * place as f64;
    let y = top + 34.0;
    let mark = share.value().zip(share.wilson()).filter(|_| share.says_something());
    IntervalRow {
        label: label.to_owned(),
        label_y: px(top + 18.0),
        y: px(y),
        top: px(y - 6.0),
        bottom: px(y + 6.0),
        too_few: format!("{} of {}: {}", share.hits(), share.cases(), figure_words::TOO_FEW),
        mark: mark.map(|(value, interval)| Mark {
            low: px(along(interval.low)),
            value: px(along(value)),
            high: px(along(interval.high)),
        }),
    }
}

fn described(rows: &[(String, Share)], limit: Option<&str>) -> String {
    let mut parts: Vec<String> = rows
        .iter()
        .map(|(label, share)| {
            let words = figure_words::share(*share);
            let interval =
                if words.interval.is_empty() { String::new() } else { format!(", {}", words.interval) };
            format!("{label}: {}{interval} ({})", words.share, words.raw)
        })
        .collect();
    parts.extend(limit.map(|label| format!("A dashed line marks {label}")));
    format!("{}.", parts.join(". "))
}

/// Checks by local hour of receipt: how many were answered in time, and on top how many were late.
pub struct HourPlot {
    pub id: &'static str,
    pub title: String,
    pub description: String,
    pub height: String,
    pub axis_y: String,
    pub label_y: String,
    pub most: String,
    pub columns: Vec<Column>,
    pub ticks: Vec<Tick>,
}

/// One hour.
pub struct Column {
    pub x: String,
    pub width: String,
    pub in_time_y: String,
    pub in_time_height: String,
    pub late_y: String,
    pub late_height: String,
    pub has_late: bool,
}

const COLUMNS_HEIGHT: f64 = 140.0;
/// Room above the columns for the greatest count.
const HEAD: f64 = 22.0;

impl HourPlot {
    pub fn of(id: &'static str, title: &str, response: &Response) -> HourPlot {
        let most = response.by_hour().map(|(_, tally)| tally.cases()).max().unwrap_or(0);
        let step = (WIDTH - 2.0 * MARGIN) / Response::HOURS as f64;
        let axis_y = HEAD + COLUMNS_HEIGHT;
        let height = |cases: u64| COLUMNS_HEIGHT * cases as f64 / most.max(1) as f64;
        let column = |(hour, in_time, late): (usize, u64, u64)| {
            let (below, above) = (height(in_time), height(late));
            Column {
                x: px(MARGIN + step * hour as f64 + 1.5),
                width: px(step - 3.0),
                in_time_y: px(axis_y - below),
                in_time_height: px(below),
                late_y: px(axis_y - below - above),
                late_height: px(above),
                has_late: late > 0,
            }
        };
        HourPlot {
            id,
            title: title.to_owned(),
            description: hours_described(response),
            height: px(axis_y + FOOT),
            axis_y: px(axis_y),
            label_y: px(axis_y + 18.0),
            most: format!("most in an hour: {most}"),
            columns: response
                .by_hour()
                .map(|(hour, tally)| column((hour, tally.in_time, tally.late + tally.late_and_open)))
                .collect(),
            ticks: (0..=Response::HOURS)
                .step_by(6)
                .map(|hour| Tick { at: px(MARGIN + step * hour as f64), label: format!("{hour}:00") })
                .collect(),
        }
    }
}

fn hours_described(response: &Response) -> String {
    let (mut cases, mut late) = (0, 0);
    let mut busiest = (0, 0);
    for (hour, tally) in response.by_hour() {
        cases += tally.cases();
        late += tally.late + tally.late_and_open;
        if tally.cases() > busiest.1 {
            busiest = (hour, tally.cases());
        }
    }
    let peak = match busiest {
        (_, 0) => String::new(),
        (hour, most) => format!(" Most, {most}, came between {hour}:00 and {}:00.", hour + 1),
    };
    format!(
        "{cases} checks by the hour they were received, {late} of them late.{peak} The table holds every hour."
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_drawn_from_end_to_end_of_the_axis_and_too_few_are_written() {
        let rows = [("one".to_owned(), Share::new(10, 10)), ("two".to_owned(), Share::new(1, 9))];
        let plot = IntervalPlot::of("p", "Shares", &rows, Some((0.05, "5 %".to_owned())));
        let mark = plot.rows[0].mark.as_ref().unwrap();
        assert_eq!((mark.value.as_str(), mark.high.as_str()), ("318.0", "318.0"));
        assert!(plot.rows[1].mark.is_none());
        assert_eq!(plot.rows[1].too_few, "1 of 9: too few to say");
        assert!(
            plot.description.contains("one: 100.0\u{a0}%, 72.2 to 100.0\u{a0}% (10 of 10)"),
            "{}",
            plot.description
        );
        assert!(plot.description.contains("two: too few to say (1 of 9)"), "{}", plot.description);
    }

    #[test]
    fn a_day_without_checks_draws_flat_columns_and_divides_by_nothing() {
        let plot = HourPlot::of("h", "Hours", &Response::default());
        assert_eq!(plot.columns.len(), 24);
        assert!(plot.columns.iter().all(|column| column.in_time_height == "0.0" && !column.has_late));
        assert_eq!(plot.ticks.len(), 5);
    }
}
