//! How a member of staff is reached: their own addresses, in order, each with its test.

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::response::IntoResponse;
use axum::response::Redirect;
use axum::response::Response;
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Deserialize;

use crate::care::CareError;
use crate::care::Fault;
use crate::care::addresses;
use crate::care::addresses::Mine;
use crate::ids::StaffAddressId;
use crate::notify::Address;
use crate::notify::PushSubscription;
use crate::store::addresses::Reached;
use crate::store::deliveries::DeliveryState;
use crate::web::App;
use crate::web::assets;
use crate::web::doors::Member;
use crate::web::error::PageError;
use crate::web::reach::phone::BrowserForm;
use crate::web::reach::words;
use crate::web::sign_in::STAFF_LANGUAGE;
use crate::web::staff_frame::Faults;
use crate::web::staff_frame::Frame;
use crate::web::staff_frame::Part;
use crate::web::staff_frame::page;
use crate::web::time_words;

struct Row {
    id: String,
    channel: &'static str,
    address: String,
    since: String,
    is_first: bool,
    /// Why nothing goes there; empty: it does.
    trouble: String,
    /// What became of the last test; empty: never tested.
    test: String,
}

/// An address as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct AddressForm {
    channel: String,
    address: String,
}

#[derive(Deserialize)]
pub struct Which {
    #[serde(default)]
    id: String,
}

impl Which {
    fn id(&self) -> Result<StaffAddressId, PageError> {
        self.id.parse().map_err(|_| PageError::NotFound)
    }
}

#[derive(Template)]
#[template(path = "reach/me.html")]
struct MePage {
    frame: Frame,
    rows: Vec<Row>,
    /// Nothing reaches this person.
    is_unreached: bool,
    /// What a browser subscribes with; empty: push is not set up.
    push_key: String,
    push_js: String,
    form: AddressForm,
    faults: Faults,
}

pub async fn show(State(app): State<App>, member: Member) -> Result<Response, PageError> {
    me_page(&app, &member, AddressForm::default(), Vec::new()).await
}

async fn me_page(
    app: &App,
    member: &Member,
    form: AddressForm,
    faults: Vec<Fault>,
) -> Result<Response, PageError> {
    let mine = addresses::mine(&app.desk, &member.member).await?;
    let frame = Frame::of(app, member, Part::Me, "How you are reached").await?;
    let (now, zone) = (app.now(), frame.practice.zone.clone());
    let rows: Vec<Row> =
        mine.iter().enumerate().map(|(at, one)| row(app, one, at == 0, now, &zone)).collect();
    let shown = MePage {
        is_unreached: rows.iter().all(|row| !row.trouble.is_empty()),
        rows,
        push_key: app.post.push_public_key().unwrap_or_default().to_owned(),
        push_js: assets::address("push.js"),
        form,
        faults: Faults(faults),
        frame,
    };
    page(shown.faults.status(), &shown)
}

fn row(app: &App, mine: &Mine, is_first: bool, now: Timestamp, zone: &TimeZone) -> Row {
    let clock = |at| time_words::clock_time(at, now, zone, STAFF_LANGUAGE);
    let trouble = match mine.stopped {
        Some(since) => {
            format!("You answered STOP, {}. Answer START to get messages here again.", clock(since))
        }
        None if !app.outside.channels.contains(&mine.kept.channel) => {
            "Nothing goes out this way: it is not set up on this server.".to_owned()
        }
        None => String::new(),
    };
    let test = match &mine.tested {
        None => String::new(),
        Some(letter) => match (letter.state, letter.sent) {
            (DeliveryState::Waiting, _) => "Test is on its way.".to_owned(),
            (DeliveryState::Sent, Some(sent)) => format!("Test sent {}.", clock(sent)),
            (DeliveryState::Delivered, _) => "Test arrived, the provider says.".to_owned(),
            (DeliveryState::Dead | DeliveryState::Sent, _) => format!("Test failed: {}.", letter.why),
        },
    };
    Row {
        id: mine.kept.id.to_string(),
        channel: words::channel(mine.kept.channel),
        address: match mine.kept.channel {
            Reached::Push => String::new(),
            Reached::Sms | Reached::Voice | Reached::Email => mine.kept.address.clone(),
        },
        since: clock(mine.kept.since),
        is_first,
        trouble,
        test,
    }
}

pub async fn add(
    State(app): State<App>,
    member: Member,
    Form(form): Form<AddressForm>,
) -> Result<Response, PageError> {
    let added = match read(&form) {
        Ok((channel, address)) => {
            addresses::add(&app.desk, &member.member, channel, &address, &app.moment()).await
        }
        Err(fault) => Err(CareError::Entered(vec![fault])),
    };
    match added {
        Ok(()) => Ok(Redirect::to("/me").into_response()),
        Err(CareError::Entered(faults)) => me_page(&app, &member, form, faults).await,
        Err(other) => Err(other.into()),
    }
}

/// An address something can be sent to.
fn read(form: &AddressForm) -> Result<(Reached, String), Fault> {
    let typed = form.address.trim().to_owned();
    let (channel, address) = match form.channel.as_str() {
        "sms" => (Reached::Sms, Address::Sms(typed.clone())),
        "voice" => (Reached::Voice, Address::Voice(typed.clone())),
        "email" => (Reached::Email, Address::Email(typed.clone())),
        _ => return Err(Fault::new("channel", "Choose text, phone call or e-mail.")),
    };
    match address.check() {
        Ok(()) => Ok((channel, typed)),
        Err(bad) => Err(Fault::new("address", bad.to_string())),
    }
}

pub async fn add_browser(
    State(app): State<App>,
    member: Member,
    Form(form): Form<BrowserForm>,
) -> Result<Response, PageError> {
    let refused = |words: &str| vec![Fault::new("push", words)];
    let faults = match PushSubscription::read(&form.subscription) {
        Ok(subscription) if app.post.trusts(&subscription) => {
            let (desk, moment) = (&app.desk, app.moment());
            let added =
                addresses::add(desk, &member.member, Reached::Push, &form.subscription, &moment).await;
            match added {
                Ok(()) => return Ok(Redirect::to("/me").into_response()),
                Err(CareError::Entered(faults)) => faults,
                Err(other) => return Err(other.into()),
            }
        }
        Ok(_) => refused("This browser’s message service is not on this server’s list. Use another way."),
        Err(bad) => refused(&bad.to_string()),
    };
    me_page(&app, &member, AddressForm::default(), faults).await
}

pub async fn remove(
    State(app): State<App>,
    member: Member,
    Form(which): Form<Which>,
) -> Result<Redirect, PageError> {
    addresses::remove(&app.desk, &member.member, which.id()?, app.now()).await?;
    Ok(Redirect::to("/me"))
}

pub async fn put_first(
    State(app): State<App>,
    member: Member,
    Form(which): Form<Which>,
) -> Result<Redirect, PageError> {
    addresses::put_first(&app.desk, &member.member, which.id()?, app.now()).await?;
    Ok(Redirect::to("/me"))
}

pub async fn test(
    State(app): State<App>,
    member: Member,
    Form(which): Form<Which>,
) -> Result<Redirect, PageError> {
    addresses::test(&app.desk, &member.member, which.id()?, &app.moment()).await?;
    Ok(Redirect::to("/me"))
}
