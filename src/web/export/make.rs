//! A copy as a zip that goes out while it is made: photo by photo, then the page.

use std::io;

use askama::Template;
use bytes::Bytes;
use futures::Stream;

use crate::care::Desk;
use crate::care::export;
use crate::care::export::CopyFor;
use crate::care::export::Episode;
use crate::ids::PhotoId;
use crate::photo;
use crate::sheet;
use crate::store::photos::Renditions;
use crate::web::export::archive::Zip;
use crate::web::export::call_part;
use crate::web::export::check_part;
use crate::web::export::check_part::Pictures;
use crate::web::export::document::Document;
use crate::web::export::document::in_page;
use crate::web::export::names;
use crate::web::export::plan_part;
use crate::web::export::record_part;
use crate::web::export::teller::Teller;

/// The zip in pieces. A photo that cannot be read is left out, and the page says so. It ends with an error where the disk or
/// the books fail: what came until then is no whole zip.
pub fn copy(desk: Desk, episode: Episode) -> impl Stream<Item = io::Result<Bytes>> + Send + 'static {
    async_stream::try_stream! {
        let local = episode.made.at.to_zoned_datetime(episode.practice.zone.clone()).datetime();
        let mut zip = Zip::new(local);
        let mut pictures = Pictures::new();
        for wanted in wanted(&episode) {
            let Some((whole, small)) = margined(&desk, &episode, &wanted).await else { continue };
            zip.add(&wanted.file, &whole)?;
            pictures.insert(wanted.photo, (wanted.file, in_page(&small)));
            yield zip.take();
        }
        let page = document(&episode, &pictures).render().map_err(io::Error::other)?;
        zip.add(&format!("{}.html", names::of_copy(&episode)), page.as_bytes())?;
        yield zip.finish()?;
    }
}

/// A photo of the copy.
struct Wanted {
    photo: PhotoId,
    renditions: Renditions,
    file: String,
    /// What stands in its margin.
    margin: Vec<String>,
}

fn wanted(episode: &Episode) -> Vec<Wanted> {
    let teller = Teller::of(episode);
    episode
        .pictures()
        .filter_map(|(checked, photo)| {
            let receipt = &checked.check.receipt;
            let mut margin = teller.stamp();
            margin.push(teller.words.photo_made(receipt, photo.position));
            Some(Wanted {
                photo: photo.id,
                renditions: photo.renditions.clone()?,
                file: names::of_photo(episode, receipt, photo.position),
                margin,
            })
        })
        .collect()
}

/// The whole photo and the small one, each with who and when under it.
async fn margined(desk: &Desk, episode: &Episode, wanted: &Wanted) -> Option<(Vec<u8>, Vec<u8>)> {
    let practice = episode.practice.id;
    let whole = export::picture(desk, practice, &wanted.renditions.full).await?;
    let small = export::picture(desk, practice, &wanted.renditions.small).await?;
    let margin = wanted.margin.clone();
    let work = move || Some((with_margin(&whole, &margin)?, with_margin(&small, &margin)?));
    tokio::task::spawn_blocking(work).await.ok().flatten()
}

fn with_margin(jpeg: &[u8], sentences: &[String]) -> Option<Vec<u8>> {
    let margin = sheet::lettered(sentences, photo::margin_width_px(jpeg)?)?;
    photo::with_margin(jpeg, &margin).ok()
}

/// The page of a copy.
pub fn document(episode: &Episode, pictures: &Pictures) -> Document {
    let teller = Teller::of(episode);
    let (words, practice) = (teller.words, &episode.practice);
    let mut sections = vec![
        plan_part::patient(&teller),
        plan_part::plan(&teller),
        check_part::checks(&teller, pictures),
        call_part::messages(&teller),
        call_part::calls(&teller),
    ];
    sections.extend(call_part::antibiotics(&teller));
    let (title, opening) = match episode.copy {
        CopyFor::Patient => (
            words.title(),
            vec![
                words.yours(),
                words.not_advice(),
                words.phones(&practice.phone, &practice.emergency_number),
                words.wrong(),
            ],
        ),
        CopyFor::Record => {
            sections.push(record_part::known(&teller));
            sections.push(record_part::lines(&teller));
            let opening = "Everything the practice keeps about this wound, with notes for staff, the ranking, and who looked. \
                           The ranking is a sorting aid for licensed clinicians, never a diagnosis.";
            ("The whole record of one wound".to_owned(), vec![opening.to_owned()])
        }
    };
    Document {
        lang: teller.language().code(),
        title,
        stamp: teller.stamp(),
        opening,
        sections,
        end: words.end(),
    }
}
