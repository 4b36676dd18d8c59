//! A healing course as the surgeon sees it: what it comes to, the picture, and the table with every number beside it.

use std::collections::BTreeMap;

use crate::web::surgeon::course_chart::CourseChart;
use crate::web::surgeon::course_words;
use crate::web::surgeon::course_words::CourseLine;
use crate::wound::Figure;
use crate::wound::course::Fits;
use crate::wound::course::HealingCourse;
use crate::wound::course::Point;

/// The course of one wound, ready to be shown.
pub struct CourseView {
    /// A sentence; `None` where redness did not clearly grow.
    pub redness_spreads: Option<String>,
    pub verdict: &'static str,
    pub verdict_code: &'static str,
    pub why: Vec<String>,
    pub lines: Vec<CourseLine>,
    pub basis: String,
    /// `None`: fewer than two photos, of which the table says enough.
    pub chart: Option<CourseChart>,
    pub rows: Vec<CourseRow>,
}

/// One photo in the table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CourseRow {
    pub day: String,
    pub area: String,
    pub area_interval: String,
    /// Length × width.
    pub extent: String,
    pub redness: String,
    pub redness_interval: String,
    pub note: &'static str,
}

impl CourseView {
    pub fn of(course: &HealingCourse) -> CourseView {
        CourseView {
            redness_spreads: course_words::redness_spreads(course),
            verdict: course_words::verdict(course),
            verdict_code: course_words::verdict_code(course.verdict),
            why: course.why.iter().map(course_words::why).collect(),
            lines: course_words::lines(course),
            basis: course_words::basis(course),
            chart: CourseChart::of(course),
            rows: rows(course),
        }
    }
}

/// By moment, in thousandths of a day: two photos of one moment share a row.
fn rows(course: &HealingCourse) -> Vec<CourseRow> {
    let key = |day: f64| (1_000.0 * day) as i64;
    let mut rows: BTreeMap<i64, CourseRow> = BTreeMap::new();
    rows_of_area(course, &mut rows, key);
    for point in &course.redness.points {
        let row = row_of(&mut rows, key(point.day), point.day);
        row.redness = format!("{:.0}", point.reach_mm.value);
        row.redness_interval = interval(&point.reach_mm);
    }
    for (days, words) in [
        (&course.redness.cannot_tell_days, "cannot tell"),
        (&course.redness.no_contrast_days, "no contrast in this picture"),
    ] {
        for day in days {
            let row = row_of(&mut rows, key(*day), *day);
            if row.redness.is_empty() {
                words.clone_into(&mut row.redness);
            }
        }
    }
    rows.into_values().collect()
}

fn rows_of_area(course: &HealingCourse, rows: &mut BTreeMap<i64, CourseRow>, key: impl Fn(f64) -> i64) {
    for point in &course.points {
        let Point { length_mm, width_mm, .. } = point;
        let row = row_of(rows, key(point.day), point.day);
        row.area = course_words::cm2(point.area_mm2.value);
        row.area_interval = format!(
            "{} to {}",
            course_words::cm2(point.area_mm2.low),
            course_words::cm2(point.area_mm2.high)
        );
        row.extent = format!("{:.0} × {:.0}", length_mm.value, width_mm.value);
        row.note = match point.fits {
            Fits::WithTheOthers => "",
            Fits::Apart => "does not fit the others",
        };
    }
}

fn row_of(rows: &mut BTreeMap<i64, CourseRow>, key: i64, day: f64) -> &mut CourseRow {
    rows.entry(key).or_insert_with(|| CourseRow { day: format!("{day:.0}"), ..CourseRow::default() })
}

fn interval(figure: &Figure) -> String {
    format!("{:.0} to {:.0}", figure.low.max(0.0), figure.high)
}

#[cfg(test)]
mod tests {
    use askama::Template;

    use super::*;
    use crate::wound::Bed;
    use crate::wound::Family;
    use crate::wound::METHOD;
    use crate::wound::Probed;
    use crate::wound::Redness;
    use crate::wound::RednessReach;
    use crate::wound::Size;
    use crate::wound::Standing;
    use crate::wound::course::Dated;
    use crate::wound::course::Pace;
    use crate::wound::course::Setting;
    use crate::wound::course::Surface;
    use crate::wound::course::healing_course;

    #[derive(Template)]
    #[template(
        source = r#"{% import "surgeon/course.html" as parts %}{% call parts::course(view) %}{% endcall %}"#,
        ext = "html"
    )]
    struct Shown {
        view: CourseView,
    }

    fn about(value: f64) -> Figure {
        Figure::new(value, 0.96 * value, 1.04 * value)
    }

    /// Areas in cm², reaches in mm; 0 mm: no contrast.
    fn course(photos: &[(f64, f64, f64)]) -> HealingCourse {
        let dated: Vec<Dated> =
            photos.iter().map(|(day, area, reach)| seen(*day, 100.0 * area, *reach)).collect();
        healing_course(&dated, &Setting { surface: Surface::Flat, pace: Pace::Usual })
    }

    fn seen(day: f64, area_mm2: f64, reach_mm: f64) -> Dated {
        let width = (area_mm2 / 1.25).sqrt();
        let reach = RednessReach {
            p95_mm: about(reach_mm),
            max_mm: about(reach_mm),
            by_clock_mm: [None; 12],
            edge: Vec::new(),
            contrast_to_noise: 3.0,
        };
        let no_contrast = Redness::NoContrast { compared_at_mm: 40.0 };
        Dated {
            day,
            photo: format!("00000000-0000-7000-8000-{:012}", (1_000.0 * day) as u64).parse().unwrap(),
            made_ms: 0,
            family: Family::Automatic,
            method: METHOD.to_owned(),
            standing: Standing::Ok,
            size: Some(Size {
                area_mm2: about(area_mm2),
                perimeter_mm: about(4.1 * width),
                length_mm: about(1.6 * width),
                width_mm: about(width),
            }),
            redness: if reach_mm > 0.0 { Redness::Reach(reach) } else { no_contrast },
            bed: None::<Bed>,
            probed: Probed::default(),
        }
    }

    const A: [(f64, f64, f64); 4] = [(3.0, 9.5, 4.0), (6.0, 8.2, 3.0), (12.0, 5.4, 3.0), (20.0, 2.6, 2.0)];

    #[test]
    fn a_course_is_drawn_with_a_title_a_description_and_every_number_in_the_table() {
        let page = Shown { view: CourseView::of(&course(&A)) }.render().unwrap();
        for shown in [
            "Area: on course",
            "<title id=\"course-title\">Healing course: on course</title>",
            "Area: 9.5 cm² on day 3, 8.2 cm² on day 6, 5.4 cm² on day 12, 2.6 cm² on day 20.",
            "9.5 → 2.6 cm², −73\u{a0}%",
            "between day 3",
            "4 photos, outlines found by the program; the two are never mixed.",
        ] {
            assert!(page.contains(shown), "{shown}\n{page}");
        }
        assert_eq!(page.matches("<circle").count(), 8);
        assert_eq!(page.matches("<tr>").count(), 5);
        assert!(!page.contains("style="));
    }

    /// Series d of the demo.
    #[test]
    fn a_stalled_wound_is_called_so_with_its_numbers() {
        let course = course(&[(7.0, 14.0, 0.0), (14.0, 13.2, 0.0), (21.0, 13.5, 0.0), (28.0, 13.0, 0.0)]);
        let page = Shown { view: CourseView::of(&course) }.render().unwrap();
        for shown in [
            "Area: stalled",
            "No clear change of the area in 21 days: −",
            "A wound of this shape that closes by day 60 would have become 55\u{a0}% smaller in that time.",
            "It is behind, on two photos a week apart.",
            "14.0 → 13.0 cm², −7\u{a0}%: no clear change",
            "cannot be told: the edge is not clearly moving in",
            "no contrast in this picture",
        ] {
            assert!(page.contains(shown), "{shown}\n{page}");
        }
    }

    #[test]
    fn a_single_photo_is_a_table_and_nothing_measured_is_a_sentence() {
        let one = CourseView::of(&course(&A[..1]));
        assert!(one.chart.is_none() && one.rows.len() == 1);
        let page = Shown { view: CourseView::of(&course(&[])) }.render().unwrap();
        assert!(page.contains("Nothing is measured yet.") && !page.contains("<table"));
    }

    #[test]
    fn a_photo_that_does_not_fit_is_hollow_and_said() {
        let mut photos = A.to_vec();
        photos.insert(3, (16.0, 30.0, 3.0));
        let view = CourseView::of(&course(&photos));
        let marks = view.chart.as_ref().unwrap().area.marks.iter();
        assert_eq!(
            marks.map(|mark| mark.is_apart).collect::<Vec<_>>(),
            vec![false, false, false, true, false]
        );
        assert!(view.why.iter().any(|why| why.starts_with("The photo of day 16 (30.0 cm²) does not fit")));
        assert_eq!(view.rows[3].note, "does not fit the others");
    }

    #[test]
    fn a_closing_is_drawn_as_far_as_the_picture_goes() {
        let window = |photos: &[(f64, f64, f64)]| {
            let course = course(photos);
            let window = CourseView::of(&course).chart.unwrap().window;
            (course.closure.unwrap(), window.map(|window| window.runs_out))
        };
        // Four weeks beyond the last photo, to the end of that week: day 49, 35 and 63.
        let (closure, runs_out) = window(&A);
        assert!(closure.to_day < 49.0 && runs_out == Some(false), "{closure:?}");
        let (closure, runs_out) = window(&[(0.0, 9.0, 0.0), (7.0, 6.4, 0.0)]);
        assert!(closure.from_day < 35.0 && closure.to_day > 35.0 && runs_out == Some(true), "{closure:?}");
        let slow = [(3.0, 9.5, 0.0), (10.0, 8.6, 0.0), (17.0, 7.8, 0.0), (24.0, 7.0, 0.0), (31.0, 6.3, 0.0)];
        let (closure, runs_out) = window(&slow);
        assert!(closure.from_day > 63.0 && runs_out.is_none(), "{closure:?}");
    }
}
