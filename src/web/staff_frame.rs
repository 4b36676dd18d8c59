//! What stands around every staff page: the practice's name, the way between the pages, and who is signed in.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Html;
use axum::response::IntoResponse;
use axum::response::Response;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::backup::noted;
use crate::ids::PracticeId;
use crate::store::practices;
use crate::store::practices::Practice;
use crate::store::sealed_codes::Look;
use crate::store::staff::Roles;
use crate::web::App;
use crate::web::assets;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::reach::Strip;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::time_words;

/// The part of the site a page belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    Queue,
    Callbacks,
    Patients,
    /// For those who are no lead; a lead finds it among the pages of the practice.
    Duty,
    /// For surgeons; a lead finds the same pages among those of the practice.
    Ranking,
    Practice,
    /// A member's own page, and what waits for anybody: in no list of ways.
    Me,
}

impl Part {
    const ALL: [Part; 6] =
        [Part::Queue, Part::Callbacks, Part::Patients, Part::Duty, Part::Ranking, Part::Practice];

    fn address(self) -> &'static str {
        match self {
            Part::Queue => "/queue",
            Part::Callbacks => "/callbacks",
            Part::Patients => "/patients",
            Part::Duty => "/practice/duty",
            Part::Ranking => "/practice/protocol",
            Part::Practice => "/practice",
            Part::Me => "/me",
        }
    }

    fn words(self) -> &'static str {
        match self {
            Part::Queue => "Queue",
            Part::Callbacks => "Callbacks",
            Part::Patients => "Patients",
            Part::Duty => "Duty",
            Part::Ranking => "Ranking",
            Part::Practice => "Practice",
            Part::Me => "How you are reached",
        }
    }

    fn is_open_to(self, roles: Roles) -> bool {
        match self {
            Part::Queue => roles.surgeon,
            Part::Callbacks | Part::Patients => roles.surgeon || roles.office,
            Part::Duty => !roles.lead,
            Part::Ranking => roles.surgeon && !roles.lead,
            Part::Practice => roles.lead,
            Part::Me => true,
        }
    }
}

impl Part {
    /// Where the duty page belongs for this member.
    pub fn of_duty(member: &Member) -> Part {
        if member.member.roles.lead { Part::Practice } else { Part::Duty }
    }

    /// Where a page about the ranking belongs for this member.
    pub fn of_ranking(member: &Member) -> Part {
        if member.member.roles.lead { Part::Practice } else { Part::Ranking }
    }
}

/// One way in the header.
pub struct Way {
    pub address: &'static str,
    pub words: &'static str,
    pub is_here: bool,
}

/// The frame of one page.
pub struct Frame {
    pub title: String,
    pub practice: Practice,
    pub member_name: String,
    pub is_lead: bool,
    pub ways: Vec<Way>,
    pub base_css: String,
    pub staff_css: String,
    pub keys_js: String,
    pub icon: String,
    /// What nobody sees to yet; `None`: nothing.
    pub strip: Option<Strip>,
    /// What stands before every address of the queue and the checks: nothing for staff, `/look` for an onlooker.
    pub root: &'static str,
    /// Whose look it is; `None`: a member of staff is signed in.
    pub look: Option<LookLine>,
    /// That the books came out of a back-up and nothing is sent; empty: everything is.
    pub held: String,
}

/// What every page of an onlooker says first.
pub struct LookLine {
    /// As they typed it.
    pub name: String,
    pub until: String,
}

/// What stands before the addresses of an onlooker's pages.
pub const LOOK_ROOT: &str = "/look";

impl Frame {
    /// The frame for `member`'s page in `part`. `title` stands in the browser's tab: never a patient's name.
    pub async fn of(app: &App, member: &Member, part: Part, title: &str) -> Result<Frame, PageError> {
        let roles = member.member.roles;
        let bare = Frame::bare(app, member.member.practice, title).await?;
        let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
        Ok(Frame {
            strip: Strip::of(&mut conn, &member.member).await?,
            member_name: member.member.name.clone(),
            is_lead: roles.lead,
            ways: Part::ALL
                .into_iter()
                .filter(|way| way.is_open_to(roles))
                .map(|way| Way { address: way.address(), words: way.words(), is_here: way == part })
                .collect(),
            ..bare
        })
    }

    /// The frame for a page of whoever opened the sealed envelope: it leads nowhere else.
    pub async fn of_look(app: &App, look: &Look, title: &str) -> Result<Frame, PageError> {
        let bare = Frame::bare(app, look.practice, title).await?;
        let until = time_words::clock_time(look.until, app.now(), &bare.practice.zone, STAFF_LANGUAGE);
        Ok(Frame {
            root: LOOK_ROOT,
            member_name: look.name.clone(),
            look: Some(LookLine { name: look.name.clone(), until }),
            ..bare
        })
    }

    async fn bare(app: &App, practice: PracticeId, title: &str) -> Result<Frame, PageError> {
        let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
        let practice = practices::find(&mut conn, practice).await.map_err(CareError::from)?;
        let practice = practice.ok_or(PageError::NotFound)?;
        let held = noted::held(&mut conn).await?;
        let clock = |at| time_words::clock_time(at, app.now(), &practice.zone, STAFF_LANGUAGE);
        Ok(Frame {
            root: "",
            look: None,
            strip: None,
            held: held.map_or_else(String::new, |held| {
                format!(
                    "Restored from a back-up ({}): no message and no alarm is sent until whoever looks after the server \
                     arms it. Watch the queue yourselves, and ring.",
                    clock(held)
                )
            }),
            title: title.to_owned(),
            practice,
            member_name: String::new(),
            is_lead: false,
            ways: Vec::new(),
            base_css: assets::address("base.css"),
            staff_css: assets::address("staff.css"),
            keys_js: assets::address("staff/keys.js"),
            icon: assets::address("staff/mark.svg"),
        })
    }
}

/// Faults of a form, found by their fields.
#[derive(Clone, Debug, Default)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    /// What is said beside a field; empty when nothing is wrong with it.
    pub fn beside(&self, field: &str) -> &str {
        self.0.iter().find(|fault| fault.field == field).map_or("", |fault| fault.words.as_str())
    }

    /// The status of the page that shows these faults.
    pub fn status(&self) -> StatusCode {
        if self.0.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY }
    }
}

/// A page as it goes out.
pub fn page<T: Template>(status: StatusCode, page: &T) -> Result<Response, PageError> {
    let html = page.render().map_err(|fault| CareError::Work(fault.to_string()))?;
    Ok((status, Html(html)).into_response())
}
