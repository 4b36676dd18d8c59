//! The first page: when to call for help, and how to send a photo.

use crate::photo::CARD_WIDTH_MM;
use crate::sheet::column::Column;
use crate::sheet::column::Look;
use crate::sheet::column::line_height_mm;
use crate::sheet::contents::Paper;
use crate::sheet::contents::SheetContents;
use crate::sheet::contents::SheetFault;
use crate::sheet::draft::Area;
use crate::sheet::draft::Dash;
use crate::sheet::draft::Draft;
use crate::sheet::draft::Ink;
use crate::sheet::lettering::Weight;
use crate::sheet::lettering::set_line;
use crate::sheet::qr::QR_EDGE_MM;
use crate::sheet::qr::QrSquare;
use crate::sheet::second_page::card_area;
use crate::words::calendar::day_and_hour;
use crate::words::calendar::day_and_year;
use crate::words::sheet::SheetWords;

const GAP_MM: f64 = 4.0;
const COLUMN_GAP_MM: f64 = 6.0;
const PADDING_MM: f64 = 3.0;
const BULLET_MM: f64 = 3.6;

/// The page set with running text of `body_pt`; `None` when it does not fit.
pub(super) fn lay_out(
    contents: &SheetContents,
    paper: Paper,
    body_pt: f64,
) -> Result<Option<Draft>, SheetFault> {
    let (width_mm, height_mm) = paper.size_mm();
    let mut page = Draft::new(width_mm, height_mm);
    let printable = page.printable();
    let qr = QrSquare::of(&contents.link_url)?;
    let mut y_mm = head(&mut page, contents, body_pt);
    y_mm = danger_box(&mut page, contents, body_pt, y_mm + GAP_MM) + GAP_MM;
    y_mm = help_and_nobody(&mut page, contents, body_pt, y_mm) + GAP_MM;
    let notes = notes_area(&page, paper);
    let send = Area::new(
        printable.left_mm,
        y_mm,
        printable.width_mm - CARD_WIDTH_MM - COLUMN_GAP_MM,
        notes.bottom_mm() - y_mm,
    );
    let sent_mm = how_to_send(&mut page, contents, body_pt, send, &qr);
    let pin_mm = pin_box(&mut page, contents, body_pt, Area { top_mm: y_mm, height_mm: 0.0, ..notes });
    notes_lines(&mut page, contents, body_pt, notes);
    foot(&mut page, contents, 1);
    let fits = sent_mm <= notes.bottom_mm() && pin_mm + GAP_MM / 2.0 <= notes.top_mm;
    Ok(fits.then_some(page))
}

/// The back of the scale card when the sheet is printed on both sides: only note lines stand here, because this
/// piece of paper gets cut out. Paper is turned over its long edge.
fn notes_area(page: &Draft, paper: Paper) -> Area {
    let card = card_area(paper);
    Area { left_mm: page.width_mm - card.right_mm(), ..card }
}

fn head(page: &mut Draft, contents: &SheetContents, body_pt: f64) -> f64 {
    let words = SheetWords(contents.language);
    let printable = page.printable();
    let mut column = Column::new(printable.left_mm, printable.top_mm, printable.width_mm);
    let small = Look::plain(body_pt * 0.9);
    practice_line(page, contents, body_pt, &mut column);
    column.say(page, &words.title(), Look::bold(body_pt * 1.8).in_ink(Ink::Calm));
    column.say(page, &words.sheet_for(&contents.patient_name), Look::bold(body_pt * 1.15));
    column.say(page, &words.wound_line(&contents.wound, &contents.procedure), small);
    let operated = day_and_hour(contents.language, contents.local(contents.operated));
    column.say(page, &words.surgeon_line(&contents.surgeon_name, &operated), small);
    column.y_mm
}

/// Practice and phone over a thin line, on both pages.
pub(super) fn practice_line(page: &mut Draft, contents: &SheetContents, body_pt: f64, column: &mut Column) {
    let look = Look::bold(body_pt);
    let phone_mm = set_line(&contents.practice_phone, look.size_pt, look.weight).width_mm();
    column.say_right(page, &contents.practice_phone, look);
    let mut name = Column { width_mm: column.width_mm - phone_mm - COLUMN_GAP_MM, ..*column };
    name.say(page, &contents.practice_name, look);
    column.y_mm = name.y_mm.max(column.y_mm + line_height_mm(look)) + 1.0;
    page.rule(column.left_mm, column.y_mm, column.width_mm);
    column.skip(2.0);
}

fn danger_signs(contents: &SheetContents) -> Vec<String> {
    let words = SheetWords(contents.language);
    let mut signs = vec![
        words.danger_spurting(),
        words.danger_ten_minutes(),
        words.danger_mind(),
        words.danger_breath(),
        words.danger_swelling(),
        words.danger_skin(),
        words.danger_crackle(),
        words.danger_pain(),
    ];
    if contents.site.is_low() {
        signs.extend([words.danger_numb(), words.danger_private_parts()]);
    }
    if contents.site.is_head_or_neck() {
        signs.extend([words.danger_eye(), words.danger_throat()]);
    }
    signs
}

/// The emergency box across the page; gives its lower edge.
fn danger_box(page: &mut Draft, contents: &SheetContents, body_pt: f64, top_mm: f64) -> f64 {
    let words = SheetWords(contents.language);
    let printable = page.printable();
    let heading = Look::bold(body_pt * 1.6).in_ink(Ink::PAPER);
    let band = Area { top_mm, height_mm: line_height_mm(heading) + PADDING_MM, ..printable };
    page.fill(band, Ink::Alarm);
    let mut title = Column::inside(band, PADDING_MM);
    title.y_mm = band.top_mm + PADDING_MM / 2.0;
    title.say(page, &words.danger_heading(&contents.emergency_number), heading);

    let signs = danger_signs(contents);
    let (left, right) = signs.split_at(signs.len().div_ceil(2));
    let half_mm = (printable.width_mm - 2.0 * PADDING_MM - COLUMN_GAP_MM) / 2.0;
    let top_of_signs_mm = band.bottom_mm() + PADDING_MM * 0.7;
    let mut bottom_mm = top_of_signs_mm;
    for (signs, left_mm) in [(left, 0.0), (right, half_mm + COLUMN_GAP_MM)] {
        let mut column = Column::new(printable.left_mm + PADDING_MM + left_mm, top_of_signs_mm, half_mm);
        bullets(page, &mut column, signs, body_pt);
        bottom_mm = bottom_mm.max(column.y_mm);
    }
    let mut below = Column::inside(printable, PADDING_MM);
    below.y_mm = bottom_mm + 1.0;
    let urgent = format!("{} {}", words.danger_do_not_wait(), words.danger_do_not_drive());
    below.say(page, &urgent, Look::bold(body_pt).in_ink(Ink::Alarm));
    below.say(page, &words.danger_press(), Look::plain(body_pt));
    below.say(page, &words.danger_sugar(), Look::plain(body_pt));
    let bottom_mm = below.y_mm + PADDING_MM * 0.5;
    let frame = Area { top_mm, height_mm: bottom_mm - top_mm, ..printable };
    page.frame(frame.grown(-0.3), Ink::Alarm, 0.6, Dash::Solid);
    bottom_mm
}

/// When to call the same day on the left, who reads messages on the right; gives the lower edge of both.
fn help_and_nobody(page: &mut Draft, contents: &SheetContents, body_pt: f64, top_mm: f64) -> f64 {
    let words = SheetWords(contents.language);
    let printable = page.printable();
    let right_mm = printable.width_mm * 0.38;
    let left_mm = printable.width_mm - right_mm - COLUMN_GAP_MM;
    let mut help = Column::new(printable.left_mm, top_mm, left_mm);
    let heading = Look::bold(body_pt * 1.2).in_ink(Ink::Calm);
    help.say(page, &words.help_heading(&contents.practice_phone), heading);
    help.skip(0.5);
    let mut signs =
        vec![words.help_redness(), words.help_hard_to_see(), words.help_fever(), words.help_pain()];
    signs.extend([words.help_bleeding(), words.help_drain()]);
    if contents.packing.is_some() {
        signs.push(words.help_strip());
    }
    signs.push(words.help_pills());
    bullets(page, &mut help, &signs, body_pt);
    help.say(page, &words.help_no_answer(), Look::bold(body_pt));

    let marks_before = page.marks.len();
    let area = Area::new(help.left_mm + left_mm + COLUMN_GAP_MM, top_mm, right_mm, 0.0);
    let mut nobody = Column::inside(area, PADDING_MM);
    nobody.say(page, &words.nobody_heading(), Look::bold(body_pt * 1.1));
    nobody.skip(0.8);
    nobody.say(page, &words.nobody_reader(&contents.practice_name), Look::plain(body_pt));
    nobody.say(page, &words.nobody_program(), Look::plain(body_pt));
    nobody.say(page, &words.nobody_person(), Look::plain(body_pt));
    nobody.skip(0.8);
    nobody.say(page, &words.nobody_answer_time(), Look::plain(body_pt));
    nobody.say(page, &words.nobody_cannot_wait(&contents.practice_phone), Look::bold(body_pt));
    let bottom_mm = help.y_mm.max(nobody.y_mm + PADDING_MM);
    page.fill_beneath(marks_before, Area { height_mm: bottom_mm - top_mm, ..area }, Ink::TINT);
    bottom_mm
}

fn bullets(page: &mut Draft, column: &mut Column, items: &[String], body_pt: f64) {
    for item in items {
        column.item(page, ("•", Look::bold(body_pt)), BULLET_MM, item, Look::plain(body_pt));
        column.skip(0.4);
    }
}

/// The square code and what to type in its place; gives the lower edge.
fn how_to_send(page: &mut Draft, contents: &SheetContents, body_pt: f64, area: Area, qr: &QrSquare) -> f64 {
    let words = SheetWords(contents.language);
    let (plain, strong) = (Look::plain(body_pt), Look::bold(body_pt * 1.15));
    let mut column = Column::new(area.left_mm, area.top_mm, area.width_mm);
    column.say(page, &words.send_heading(), Look::bold(body_pt * 1.2).in_ink(Ink::Calm));
    column.skip(1.0);
    let square_mm = QR_EDGE_MM + qr.margin_mm();
    qr.draw(page, column.left_mm, column.y_mm);
    let text_left_mm = column.left_mm + square_mm;
    let mut text = Column::new(text_left_mm, column.y_mm, area.right_mm() - text_left_mm);
    text.say(page, &words.send_scan(), plain);
    text.skip(1.0);
    text.say(page, &words.send_or_type(), plain);
    text.say(page, &contents.short_address, strong);
    text.say(page, &words.send_code(), plain);
    text.say(page, &contents.typed_code, strong);
    column.y_mm = text.y_mm.max(column.y_mm + square_mm);
    column.say(page, &words.send_photo_optional(), plain);
    let until = words.link_until(&day_and_year(contents.language, contents.local(contents.expires)));
    let small = Look::plain(body_pt * 0.9);
    column.say(page, &format!("{} · {until}", words.link_for(&contents.link_name)), small);
    column.say(page, &words.link_private(), small);
    column.y_mm
}

/// The PIN in a frame; gives its lower edge.
fn pin_box(page: &mut Draft, contents: &SheetContents, body_pt: f64, area: Area) -> f64 {
    let words = SheetWords(contents.language);
    let mut column = Column::inside(area, PADDING_MM);
    let label = (&*words.pin_heading(), Look::bold(body_pt * 1.4).in_ink(Ink::Calm));
    let label_mm = set_line(label.0, label.1.size_pt, Weight::Bold).width_mm() + PADDING_MM;
    column.item(page, label, label_mm, &contents.pin, Look::bold(body_pt * 1.4));
    column.say(page, &words.pin_needed(), Look::plain(body_pt * 0.9));
    let bottom_mm = column.y_mm + PADDING_MM * 0.6;
    let frame = Area { height_mm: bottom_mm - area.top_mm, ..area };
    page.frame(frame.grown(-0.2), Ink::Calm, 0.4, Dash::Solid);
    bottom_mm
}

fn notes_lines(page: &mut Draft, contents: &SheetContents, body_pt: f64, area: Area) {
    const LINE_MM: f64 = 7.5;
    let words = SheetWords(contents.language);
    let mut column = Column::new(area.left_mm, area.top_mm, area.width_mm);
    column.say(page, &words.notes_heading(), Look::bold(body_pt).in_ink(Ink::Calm));
    column.say(page, &words.notes_hint(), Look::plain(body_pt * 0.8).in_ink(Ink::QUIET));
    let mut y_mm = column.y_mm + LINE_MM;
    while y_mm <= area.bottom_mm() {
        page.rule(area.left_mm, y_mm, area.width_mm);
        y_mm += LINE_MM;
    }
}

/// The last line of both pages.
pub(super) fn foot(page: &mut Draft, contents: &SheetContents, number: usize) {
    const FOOT_PT: f64 = 8.0;
    let words = SheetWords(contents.language);
    let look = Look::plain(FOOT_PT).in_ink(Ink::QUIET);
    let printable = page.printable();
    let top_mm = printable.bottom_mm() - line_height_mm(look);
    let mut column = Column::new(printable.left_mm, top_mm, printable.width_mm);
    column.say_right(page, &words.page(number, 2), look);
    let printed = day_and_year(contents.language, contents.local(contents.printed));
    column.say(page, &words.footer(&printed), look);
}
