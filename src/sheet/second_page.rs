//! The second page: the dated plan, how to take the photo, and the scale card to cut out.

use crate::photo::CARD_HEIGHT_MM;
use crate::photo::CARD_WIDTH_MM;
use crate::sheet::calendar::PlanRow;
use crate::sheet::calendar::plan_rows;
use crate::sheet::column::Column;
use crate::sheet::column::Look;
use crate::sheet::column::line_height_mm;
use crate::sheet::contents::Paper;
use crate::sheet::contents::SheetContents;
use crate::sheet::draft::Area;
use crate::sheet::draft::Dash;
use crate::sheet::draft::Draft;
use crate::sheet::draft::Ink;
use crate::sheet::draft::PRINTER_MARGIN_MM;
use crate::sheet::first_page::foot;
use crate::sheet::first_page::practice_line;
use crate::sheet::lettering::set_line;
use crate::sheet::ruler::RULER_MM;
use crate::sheet::scale_card::draw_scale_card;
use crate::words::sheet::SheetWords;

const GAP_MM: f64 = 4.0;
const CARD_GAP_MM: f64 = 7.0;
const FOOT_MM: f64 = 8.5;
const NUMBER_MM: f64 = 5.5;
const LABEL_GAP_MM: f64 = 4.0;
const ROW_GAP_MM: f64 = 1.8;
/// The drawing beside the steps.
const PICTURE_WIDTH_MM: f64 = 48.0;
const PICTURE_HEIGHT_MM: f64 = 34.0;

/// Where the card lies on the second page, and by its mirror image the notes on the first.
pub(super) fn card_area(paper: Paper) -> Area {
    let (_, height_mm) = paper.size_mm();
    let top_mm = height_mm - PRINTER_MARGIN_MM - FOOT_MM - CARD_HEIGHT_MM;
    // Half a millimetre in from the margin leaves room for the cutting line.
    Area::new(PRINTER_MARGIN_MM + 0.5, top_mm, CARD_WIDTH_MM, CARD_HEIGHT_MM)
}

/// The page set with running text of `body_pt`; `None` when it does not fit.
pub(super) fn lay_out(contents: &SheetContents, paper: Paper, body_pt: f64) -> Option<Draft> {
    let (width_mm, height_mm) = paper.size_mm();
    let mut page = Draft::new(width_mm, height_mm);
    let printable = page.printable();
    let card = card_area(paper);
    let mut column = Column::new(printable.left_mm, printable.top_mm, printable.width_mm);
    practice_line(&mut page, contents, body_pt, &mut column);
    plan(&mut page, contents, body_pt, &mut column);
    column.skip(GAP_MM);
    how_to_take(&mut page, contents, body_pt, &mut column);
    draw_scale_card(&mut page, card.left_mm, card.top_mm, contents.tag_id);
    let beside_mm = beside_the_card(&mut page, contents, body_pt, card);
    foot(&mut page, contents, 2);
    let fits = column.y_mm + GAP_MM <= card.top_mm && beside_mm <= card.bottom_mm();
    fits.then_some(page)
}

fn plan(page: &mut Draft, contents: &SheetContents, body_pt: f64, column: &mut Column) {
    let words = SheetWords(contents.language);
    let heading = Look::bold(body_pt * 1.4).in_ink(Ink::Calm);
    let label = Look::bold(body_pt).in_ink(Ink::Calm);
    column.say(page, &words.plan_heading(), heading);
    column.say(page, &words.sheet_for(&contents.patient_name), Look::plain(body_pt * 0.9));
    column.skip(1.0);
    let rows = plan_rows(contents);
    let label_width = |row: &PlanRow| set_line(&row.label, label.size_pt, label.weight).width_mm();
    let indent_mm = rows.iter().map(label_width).fold(0.0, f64::max) + LABEL_GAP_MM;
    for row in &rows {
        column.item(page, (&row.label, label), indent_mm, &row.when, Look::bold(body_pt));
        for line in &row.how {
            column.item(page, ("", label), indent_mm, line, Look::plain(body_pt));
        }
        let width_mm = column.width_mm - indent_mm;
        let mut grid = Column::new(column.left_mm + indent_mm, column.y_mm + 0.6, width_mm);
        tick_boxes(page, &mut grid, &row.days, body_pt);
        column.y_mm = grid.y_mm + ROW_GAP_MM;
    }
    column.say(page, &words.surgeon_first(), Look::bold(body_pt));
}

/// A box to tick for each day, as many in a row as have room.
fn tick_boxes(page: &mut Draft, column: &mut Column, days: &[String], body_pt: f64) {
    let look = Look::plain(body_pt * 0.9);
    let box_mm = look.size_pt * 0.28;
    let widest_mm =
        days.iter().map(|day| set_line(day, look.size_pt, look.weight).width_mm()).fold(0.0, f64::max);
    let cell_mm = box_mm + 1.5 + widest_mm + 3.5;
    let per_row = ((column.width_mm / cell_mm).floor() as usize).max(1);
    let row_mm = line_height_mm(look) + 0.6;
    for row in days.chunks(per_row) {
        for (place, day) in row.iter().enumerate() {
            let left_mm = column.left_mm + place as f64 * cell_mm;
            let line = set_line(day, look.size_pt, look.weight);
            let baseline_mm = column.y_mm + line.ascent_mm();
            page.frame(
                Area::new(left_mm, baseline_mm - box_mm + 0.2, box_mm, box_mm),
                Ink::QUIET,
                0.2,
                Dash::Solid,
            );
            page.letters(line, left_mm + box_mm + 1.5, baseline_mm, look.ink);
        }
        column.skip(row_mm);
    }
}

fn how_to_take(page: &mut Draft, contents: &SheetContents, body_pt: f64, column: &mut Column) {
    let words = SheetWords(contents.language);
    let top_mm = column.y_mm;
    let mut text = Column { width_mm: column.width_mm - PICTURE_WIDTH_MM - CARD_GAP_MM, ..*column };
    text.say(page, &words.take_heading(), Look::bold(body_pt * 1.4).in_ink(Ink::Calm));
    text.skip(1.0);
    let steps =
        [words.take_wash(), words.take_light(), words.take_card(), words.take_above(), words.take_frame()];
    for (index, step) in steps.iter().enumerate() {
        let number = format!("{}.", index + 1);
        let mark = (number.as_str(), Look::bold(body_pt).in_ink(Ink::Calm));
        text.item(page, mark, NUMBER_MM, step, Look::plain(body_pt));
        text.skip(0.4);
    }
    text.say(page, &words.take_no_card(), Look::plain(body_pt));

    let left_mm = column.left_mm + column.width_mm - PICTURE_WIDTH_MM;
    let small = Look::plain(body_pt * 0.9).in_ink(Ink::QUIET);
    let mut caption = Column::new(left_mm, top_mm, PICTURE_WIDTH_MM);
    caption.say(page, &words.take_picture(), small);
    example_picture(page, Area::new(left_mm, caption.y_mm + 0.5, PICTURE_WIDTH_MM, PICTURE_HEIGHT_MM));
    column.y_mm = text.y_mm.max(caption.y_mm + 0.5 + PICTURE_HEIGHT_MM);
}

/// What a good photo shows: the whole wound with skin around it and the whole card beside it, from straight above.
/// The card's marker is a plain square here, so that no program takes the drawing for a card.
fn example_picture(page: &mut Draft, frame: Area) {
    let part = |left: f64, top: f64, width: f64, height: f64| {
        let (x_mm, y_mm) = (frame.left_mm + frame.width_mm * left, frame.top_mm + frame.height_mm * top);
        Area::new(x_mm, y_mm, frame.width_mm * width, frame.height_mm * height)
    };
    page.fill(frame, Ink::TINT);
    page.oval(part(0.09, 0.17, 0.34, 0.66), Ink::HAIRLINE);
    page.oval(part(0.13, 0.25, 0.26, 0.50), Ink::QUIET);
    page.fill(part(0.53, 0.29, 0.39, 0.42), Ink::PAPER);
    page.frame(part(0.53, 0.29, 0.39, 0.42), Ink::QUIET, 0.2, Dash::Solid);
    page.fill(part(0.58, 0.39, 0.13, 0.21), Ink::BLACK);
    page.fill(part(0.76, 0.39, 0.11, 0.21), Ink::HAIRLINE);
    page.frame(frame.grown(-0.2), Ink::QUIET, 0.4, Dash::Solid);
}

/// What to do with the card, and the line to measure; gives the lower edge.
fn beside_the_card(page: &mut Draft, contents: &SheetContents, body_pt: f64, card: Area) -> f64 {
    let words = SheetWords(contents.language);
    let left_mm = card.right_mm() + CARD_GAP_MM;
    let mut column = Column::new(left_mm, card.top_mm, page.printable().right_mm() - left_mm);
    column.say(page, &words.card_heading(), Look::bold(body_pt * 1.2).in_ink(Ink::Calm));
    column.say(page, &words.card_cut(), Look::plain(body_pt));
    column.say(page, &words.card_clean(), Look::plain(body_pt));
    column.skip(3.0);
    ruler(page, left_mm, column.y_mm);
    column.skip(RULER_TICK_MM + 1.0);
    column.say(page, &words.ruler_measure(), Look::bold(body_pt * 0.9));
    column.say(page, &words.ruler_again(), Look::plain(body_pt * 0.9));
    column.y_mm
}

const RULER_TICK_MM: f64 = 4.0;

/// A line of exactly [`RULER_MM`], outer edge to outer edge of its end ticks.
fn ruler(page: &mut Draft, left_mm: f64, top_mm: f64) {
    const LINE_MM: f64 = 0.3;
    let upright =
        |x_mm: f64, height_mm: f64| Area::new(x_mm, top_mm + RULER_TICK_MM - height_mm, LINE_MM, height_mm);
    let mut areas = vec![Area::new(left_mm, top_mm + RULER_TICK_MM - LINE_MM, RULER_MM, LINE_MM)];
    areas.push(upright(left_mm, RULER_TICK_MM));
    areas.push(upright(left_mm + RULER_MM - LINE_MM, RULER_TICK_MM));
    let between = (1..10).map(|centimetre| f64::from(centimetre) * 10.0);
    areas.extend(between.map(|x_mm| upright(left_mm + x_mm - LINE_MM / 2.0, RULER_TICK_MM / 2.0)));
    page.fill_all(areas, Ink::BLACK);
}
