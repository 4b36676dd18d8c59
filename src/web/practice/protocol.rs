//! The protocol as a surgeon reads it, its versions, and how each rule did this month.

use std::collections::HashMap;

use askama::Template;
use axum::extract::Path;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use crate::care::CareError;
use crate::care::protocol_draft;
use crate::care::protocols;
use crate::care::rule_counts;
use crate::store::protocols::Approval;
use crate::store::protocols::KeptProtocol;
use crate::store::protocols::ProtocolOrigin;
use crate::store::staff::StaffMember;
use crate::store::staff::of_practice;
use crate::web::App;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::practice::protocol_view::ProtocolView;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

/// One version ever in force.
pub struct VersionView {
    pub version: String,
    pub since: String,
    /// Who said yes, and why.
    pub by: Vec<String>,
    pub is_in_force: bool,
}

#[derive(Template)]
#[template(path = "practice/protocol.html")]
struct ProtocolPage {
    frame: Frame,
    protocol: ProtocolView,
    versions: Vec<VersionView>,
    /// Version of the program's newer protocol; empty when the practice works from it.
    newer: String,
    /// Approved versions that cannot be read any more, joined; empty when all is well.
    unreadable: String,
    is_in_force: bool,
    is_lead: bool,
    has_draft: bool,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    let shelf = protocols::shelf(&app.desk, &member.member).await?;
    let counts = rule_counts::this_month(&app.desk, &member.member, app.now()).await?;
    let frame = Frame::of(&app, &member, Part::of_ranking(&member), "Protocol").await?;
    let staff = colleagues(&app, &member).await?;
    let in_force = shelf.in_force.version();
    let shown = ProtocolPage {
        protocol: ProtocolView::of(&shelf.in_force, &counts),
        versions: shelf.kept.iter().map(|kept| version_view(kept, in_force, &staff, &frame, &app)).collect(),
        newer: shelf.newer.unwrap_or_default(),
        unreadable: shelf.unreadable.join(", "),
        is_in_force: true,
        is_lead: member.member.roles.lead,
        has_draft: protocol_draft::open(&app.desk, &member.member).await?.is_some(),
        frame,
    };
    page(StatusCode::OK, &shown)
}

pub async fn show_version(
    State(app): State<App>,
    member: Member,
    Path(version): Path<String>,
) -> Result<Response, PageError> {
    let (protocol, kept) = protocols::read(&app.desk, &member.member, &version).await?;
    let in_force = protocols::shelf(&app.desk, &member.member).await?.in_force;
    let frame = Frame::of(&app, &member, Part::of_ranking(&member), "Protocol").await?;
    let staff = colleagues(&app, &member).await?;
    let shown = ProtocolPage {
        protocol: ProtocolView::of(&protocol, &HashMap::new()),
        versions: kept
            .iter()
            .map(|kept| version_view(kept, in_force.version(), &staff, &frame, &app))
            .collect(),
        newer: String::new(),
        unreadable: String::new(),
        is_in_force: protocol.version() == in_force.version(),
        is_lead: false,
        has_draft: false,
        frame,
    };
    page(StatusCode::OK, &shown)
}

pub async fn colleagues(app: &App, member: &Member) -> Result<Vec<StaffMember>, PageError> {
    let mut conn = app.desk.db.read().await.map_err(CareError::from)?;
    Ok(of_practice(&mut conn, member.member.practice).await.map_err(CareError::from)?)
}

fn version_view(
    kept: &KeptProtocol,
    in_force: &str,
    staff: &[StaffMember],
    frame: &Frame,
    app: &App,
) -> VersionView {
    let zone = &frame.practice.zone;
    VersionView {
        version: kept.version.clone(),
        since: time_words::clock_time(kept.in_force, app.now(), zone, STAFF_LANGUAGE),
        by: match kept.origin {
            ProtocolOrigin::Program => vec!["came with the program".to_owned()],
            ProtocolOrigin::Practice => {
                kept.approvals.iter().map(|approval| approval_words(approval, staff)).collect()
            }
        },
        is_in_force: kept.version == in_force,
    }
}

/// "approved by Dana Reyes: fever misses two patients".
pub fn approval_words(approval: &Approval, staff: &[StaffMember]) -> String {
    let name = staff.iter().find(|colleague| colleague.id == approval.by);
    let name = name.map_or("a former colleague", |colleague| colleague.name.as_str());
    format!("approved by {name}: {}", approval.reason)
}
