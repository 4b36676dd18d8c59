//! What the photos of a check say: by themselves, beside the wound's earlier ones, and over its whole course.

use crate::care::CareError;
use crate::care::Done;
use crate::store::Conn;
use crate::store::checks::WoundCheck;
use crate::store::measurements;
use crate::store::measurements::Author;
use crate::store::measurements::KeptMeasurement;
use crate::store::practices;
use crate::store::practices::Measuring;
use crate::store::wounds::Wound;
use crate::triage;
use crate::triage::FromPhoto;
use crate::wound::course::Dated;
use crate::wound::course::HealingCourse;
use crate::wound::course::Surface;
use crate::wound::course::healing_course;

const SECONDS_IN_A_DAY: f64 = 86_400.0;

/// What a check's photos say.
#[derive(Clone, Debug)]
pub struct PhotosSay {
    pub from_photo: FromPhoto,
    /// Over all photos of the wound so far.
    pub course: HealingCourse,
    pub surface: Surface,
    /// Of each photo the measurement that stands, of those that count.
    pub(in crate::care) standing: Vec<KeptMeasurement>,
}

/// As measured so far. Where the practice has switched measuring off, only what a person drew counts.
pub(in crate::care) async fn photos_say(
    conn: &mut Conn,
    wound: &Wound,
    check: &WoundCheck,
) -> Done<PhotosSay> {
    let settings = practices::measuring(conn, check.practice).await?.ok_or(CareError::NotFound)?;
    let mut of_wound = measurements::of_wound(conn, check.practice, check.wound).await?;
    of_wound.retain(|kept| {
        let counts = settings.measuring == Measuring::On || kept.author != Author::Program;
        counts && !kept.broke_off()
    });
    let dated = |kept: &KeptMeasurement| {
        let day = kept.taken.duration_since(wound.operation.operated).as_secs_f64() / SECONDS_IN_A_DAY;
        Dated::of(day, kept.photo, kept.made.as_millisecond(), &kept.measurement)
    };
    let own: Vec<Dated> = of_wound.iter().filter(|kept| kept.check == check.id).map(dated).collect();
    // Ids follow the order of arrival.
    let earlier: Vec<Dated> = of_wound.iter().filter(|kept| kept.check < check.id).map(dated).collect();
    let all: Vec<Dated> = of_wound.iter().map(dated).collect();
    let setting = triage::photo_setting(&wound.operation, &wound.risk);
    Ok(PhotosSay {
        from_photo: triage::from_photo(&own, &earlier, &setting),
        course: healing_course(&all, &setting),
        surface: setting.surface,
        standing: measurements::standing(of_wound),
    })
}
