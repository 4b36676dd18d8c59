//! Who may enter where: every route is hung with its rule, and the rule is what lets people in. The tests read the
//! same table.

use axum::Router;
use axum::extract::FromRequestParts;
use axum::extract::Request;
use axum::extract::State;
use axum::handler::Handler;
use axum::http::Method;
use axum::http::request::Parts;
use axum::middleware::Next;
use axum::middleware::from_fn_with_state;
use axum::response::IntoResponse;
use axum::response::Response;
use axum::routing::MethodFilter;
use axum::routing::on;

use crate::care::LinkHolder;
use crate::care::envelope;
use crate::care::knock;
use crate::care::second_step::Coming;
use crate::care::sign_in;
use crate::ids::PracticeId;
use crate::store::sealed_codes::Look;
use crate::store::staff::StaffMember;
use crate::store::staff_sessions::StaffSession;
use crate::store::staff_sessions::Stage;
use crate::web::App;
use crate::web::cookies::Cookie;
use crate::web::error::LinkNotOpen;
use crate::web::error::PageError;
use crate::web::fell_over;
use crate::web::fell_over::Asked;
use crate::web::patient::late;
use crate::web::refusals;
use crate::web::sign_in::turn_away;

/// A page that reads itself again sends this: it must not keep a session alive that nobody is sitting at.
const UNATTENDED: &str = "x-unattended";

/// Who may enter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    Anyone,
    /// A provider that sends for us: by its signature, which the handler asks for.
    Provider,
    /// A phone that opened a patient link. What needs the PIN says so itself.
    Phone,
    /// Whoever opened the sealed envelope: looks, and changes nothing.
    Onlooker,
    /// Staff at the second step of signing in, or wholly in.
    Entering,
    /// Any staff member who is signed in.
    Staff,
    Surgeon,
    Office,
    /// Office or surgeon.
    Caller,
    /// A surgeon, or whom a lead let see photos.
    PhotoViewer,
    Lead,
    /// Lead or surgeon: whoever judges the protocol, how well it ranks, and whether there is enough cover.
    Judge,
}

impl Who {
    fn admits(self, member: &StaffMember) -> bool {
        match self {
            Who::Anyone | Who::Entering | Who::Staff => true,
            Who::Provider | Who::Phone | Who::Onlooker => false,
            Who::Surgeon => member.roles.surgeon,
            Who::Office => member.roles.office,
            Who::Caller => member.roles.office || member.roles.surgeon,
            Who::PhotoViewer => member.may_see_photos(),
            Who::Lead => member.roles.lead,
            Who::Judge => member.roles.judge_ranking(),
        }
    }
}

/// One row of the table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Door {
    pub method: Method,
    pub path: &'static str,
    pub who: Who,
    /// Only for whoever took the second step a short while ago.
    pub fresh: bool,
}

/// A router under construction, and its table.
pub struct Doors {
    app: App,
    router: Router<App>,
    table: Vec<Door>,
}

impl Doors {
    pub fn new(app: &App) -> Doors {
        Doors { app: app.clone(), router: Router::new(), table: Vec::new() }
    }

    pub fn get<H, T>(self, path: &'static str, who: Who, handler: H) -> Doors
    where
        H: Handler<T, App>,
        T: 'static,
    {
        self.hang(Door { method: Method::GET, path, who, fresh: false }, MethodFilter::GET, handler)
    }

    pub fn post<H, T>(self, path: &'static str, who: Who, handler: H) -> Doors
    where
        H: Handler<T, App>,
        T: 'static,
    {
        self.hang(Door { method: Method::POST, path, who, fresh: false }, MethodFilter::POST, handler)
    }

    /// As [`Doors::get`], for what leaves the house: whoever proved themselves longer ago does so again first.
    pub fn get_fresh<H, T>(self, path: &'static str, who: Who, handler: H) -> Doors
    where
        H: Handler<T, App>,
        T: 'static,
    {
        self.hang(Door { method: Method::GET, path, who, fresh: true }, MethodFilter::GET, handler)
    }

    /// As [`Doors::post`], for what is sensitive: whoever proved themselves longer ago does so again first.
    pub fn post_fresh<H, T>(self, path: &'static str, who: Who, handler: H) -> Doors
    where
        H: Handler<T, App>,
        T: 'static,
    {
        self.hang(Door { method: Method::POST, path, who, fresh: true }, MethodFilter::POST, handler)
    }

    fn hang<H, T>(mut self, door: Door, filter: MethodFilter, handler: H) -> Doors
    where
        H: Handler<T, App>,
        T: 'static,
    {
        let guarded =
            on(filter, handler).route_layer(from_fn_with_state((self.app.clone(), door.clone()), guard));
        self.router = self.router.route(door.path, guarded);
        self.table.push(door);
        self
    }

    /// Behind a rule like any other, and in no table: only tests know of it.
    #[cfg(feature = "doubles")]
    pub fn unlisted<H, T>(self, path: &'static str, who: Who, handler: H) -> Doors
    where
        H: Handler<T, App>,
        T: 'static,
    {
        let mut hung = self.get(path, who, handler);
        hung.table.pop();
        hung
    }

    pub fn into_parts(self) -> (Router<App>, Vec<Door>) {
        (self.router, self.table)
    }
}

/// Lets in whom the rule admits. The log line names the door, never the address that was knocked at: that may hold a
/// link.
async fn guard(State((app, door)): State<(App, Door)>, mut request: Request, next: Next) -> Response {
    let (began, method) = (app.now(), request.method().clone());
    let (who, path) = (door.who, door.path);
    let mut asked_by = None;
    let entered = match who {
        Who::Anyone | Who::Provider => Ok(()),
        Who::Phone => enter_phone(&app, &mut request).await.map(|holder| asked_by = Some(holder)),
        Who::Onlooker => enter_look(&app, &mut request).await,
        Who::Entering
        | Who::Staff
        | Who::Surgeon
        | Who::Office
        | Who::Caller
        | Who::PhotoViewer
        | Who::Lead
        | Who::Judge => enter_staff(&app, &door, &mut request).await,
    };
    let practice = staff_of(&request);
    let (knocker, refused) = (refusals::knocker(&request), entered.as_ref().err().and_then(refusals::why));
    let mut response = match entered {
        Ok(()) => fell_over::caught(next.run(request)).await,
        Err(refused @ PageError::NoLink) => late::not_in(&app, refused, request).await,
        Err(refused) => turn_away(&app, refused, who, request).await.into_response(),
    };
    if let Some(holder) = &asked_by
        && response.extensions().get::<LinkNotOpen>().is_some()
        && let Some(page) = late::ended_meanwhile(&app, holder.practice).await
    {
        response = page;
    }
    if let Some(why) = refused.or_else(|| refusals::inside(&response)) {
        refusals::note(&app, &door, knocker, why).await;
    }
    let practice = practice.or(asked_by.as_ref().map(|holder| holder.practice));
    let language = asked_by.map(|holder| holder.language).unwrap_or_default();
    let phone = (who == Who::Phone).then_some(language);
    response =
        fell_over::see_to(&app, Asked { method: &method, door: path, practice, phone }, response).await;
    let took_ms = app.now().duration_since(began).as_millis();
    tracing::info!(%method, path, status = response.status().as_u16(), took_ms, "answered");
    response
}

/// The practice of whoever a staff door, or an onlooker's, let in.
fn staff_of(request: &Request) -> Option<PracticeId> {
    let member = request.extensions().get::<Member>().map(|member| member.member.practice);
    member.or_else(|| request.extensions().get::<Onlooker>().map(|onlooker| onlooker.look.practice))
}

async fn enter_phone(app: &App, request: &mut Request) -> Result<LinkHolder, PageError> {
    let token = Cookie::Phone.read(app, request.headers()).ok_or(PageError::NoLink)?;
    let holder = knock::holder(&app.desk, &token, app.now()).await?.ok_or(PageError::NoLink)?;
    if !request.method().is_safe() {
        knock::stay(&app.desk, &holder, &token, app.now()).await?;
    }
    request.extensions_mut().insert(Phone { holder: holder.clone(), token });
    Ok(holder)
}

/// Nothing is kept alive: a look ends at its hour, however busy.
async fn enter_look(app: &App, request: &mut Request) -> Result<(), PageError> {
    let token = Cookie::Look.read(app, request.headers()).ok_or(PageError::LookOver)?;
    let look = envelope::running(&app.desk, &token, app.now()).await?.ok_or(PageError::LookOver)?;
    request.extensions_mut().insert(Onlooker { look, token });
    Ok(())
}

async fn enter_staff(app: &App, door: &Door, request: &mut Request) -> Result<(), PageError> {
    let token = Cookie::Staff.read(app, request.headers()).ok_or(PageError::SignedOut)?;
    let now = app.now();
    let found = if request.headers().contains_key(UNATTENDED) {
        sign_in::session_unattended(&app.desk, &token, now).await?
    } else {
        sign_in::session(&app.desk, &token, now).await?
    };
    let session = found.ok_or(PageError::SignedOut)?;
    let is_whole = session.stage == Stage::Whole;
    let is_fresh = now.duration_since(session.fresh) < sign_in::FRESH_LIMIT;
    let admitted = door.who.admits(&session.member);
    let known_browser = Cookie::Known.read(app, request.headers());
    // Also of somebody who is turned away: the record says who it was.
    request.extensions_mut().insert(Member { member: session.member.clone(), session, token, known_browser });
    if !is_whole && door.who != Who::Entering {
        return Err(PageError::HalfIn);
    }
    if !admitted {
        return Err(PageError::NotAllowed);
    }
    if door.fresh && is_whole && !is_fresh {
        return Err(PageError::NotFresh);
    }
    Ok(())
}

/// The staff member behind a request, and their session. Only behind a staff door.
#[derive(Clone, Debug)]
pub struct Member {
    pub member: StaffMember,
    pub session: StaffSession,
    /// The session's token.
    pub token: String,
    /// Token of a browser in which staff signed in before; `None`: there is none.
    pub known_browser: Option<String>,
}

impl Member {
    /// The same person at the second step.
    pub fn coming(&self) -> Coming {
        Coming {
            session: self.session.clone(),
            token: self.token.clone(),
            known_browser: self.known_browser.clone(),
        }
    }
}

/// The phone behind a request, and its session's token. Only behind a phone door.
#[derive(Clone, Debug)]
pub struct Phone {
    pub holder: LinkHolder,
    pub token: String,
}

/// Whoever opened the sealed envelope, and their look's token. Only behind an onlooker's door.
#[derive(Clone, Debug)]
pub struct Onlooker {
    pub look: Look,
    pub token: String,
}

impl<S: Sync> FromRequestParts<S> for Onlooker {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Onlooker, PageError> {
        parts.extensions.get::<Onlooker>().cloned().ok_or(PageError::LookOver)
    }
}

impl<S: Sync> FromRequestParts<S> for Member {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Member, PageError> {
        parts.extensions.get::<Member>().cloned().ok_or(PageError::SignedOut)
    }
}

impl<S: Sync> FromRequestParts<S> for Phone {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Phone, PageError> {
        parts.extensions.get::<Phone>().cloned().ok_or(PageError::NoLink)
    }
}
