//! A browser as far as the server can tell: cookies, forms, answers.

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, header};
use rinsebell::app::App;
use rinsebell::domain::ids::StationId;
use rinsebell::web::routes;
use tower::ServiceExt as _;

/// What came back.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub body: String,
    /// Where a redirect leads.
    pub location: String,
    pub headers: axum::http::HeaderMap,
}

impl Answer {
    /// The value of the first hidden or text field of this name in the page.
    pub fn field(&self, name: &str) -> String {
        let at = self
            .body
            .find(&format!("name=\"{name}\""))
            .unwrap_or_else(|| panic!("no field {name} in {}", self.body));
        let rest = &self.body[at..];
        let start = rest.find("value=\"").expect("the field has a value") + 7;
        rest[start..].split('"').next().expect("the value ends").to_string()
    }

    /// The last number of the path a redirect leads to.
    pub fn location_id(&self) -> i64 {
        self.location
            .split(['/', '?', '#'])
            .filter_map(|p| p.parse().ok())
            .next_back()
            .unwrap_or_else(|| panic!("no id in {:?}: {} {}", self.location, self.status, self.body))
    }
}

/// One browser.
#[derive(Clone)]
pub struct Browser {
    /// Built once: unoptimised, a hundred and ninety routes with their layers take longer than most requests.
    router: Router,
    cookies: Vec<String>,
    pub station: StationId,
}

impl Browser {
    /// A browser with one cookie.
    pub fn new(app: &App, cookie: String, station: StationId) -> Browser {
        Browser { router: routes::router(app.clone()), cookies: vec![cookie], station }
    }

    /// A browser nobody knows.
    pub fn stranger(app: &App) -> Browser {
        Browser { router: routes::router(app.clone()), cookies: Vec::new(), station: StationId(0) }
    }

    /// The same browser, served by another app over the same database.
    pub fn through(&self, app: &App) -> Browser {
        Browser { router: routes::router(app.clone()), ..self.clone() }
    }

    /// The cookies as sent.
    pub fn cookie_line(&self) -> String {
        self.cookies.join("; ")
    }

    /// What serves it.
    pub fn router(&self) -> Router {
        self.router.clone()
    }

    /// GET.
    pub async fn get(&mut self, path: &str) -> Answer {
        let request = Request::get(path).header(header::COOKIE, self.cookie_line()).body(Body::empty());
        self.send(request.expect("a request")).await
    }

    /// POST of a form, as from our own page.
    pub async fn post(&mut self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body: Vec<String> = fields
            .iter()
            .map(|(k, v)| {
                format!("{}={}", rinsebell::web::page::query_value(k), rinsebell::web::page::query_value(v))
            })
            .collect();
        let request = Request::post(path)
            .header(header::COOKIE, self.cookie_line())
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header("sec-fetch-site", "same-origin")
            .body(Body::from(body.join("&")));
        self.send(request.expect("a request")).await
    }

    /// Any request, as it is.
    pub async fn send(&mut self, request: Request<Body>) -> Answer {
        let response = self.router().oneshot(request).await.expect("the router answers");
        let (parts, body) = response.into_parts();
        for set in parts.headers.get_all(header::SET_COOKIE) {
            let pair = set.to_str().expect("ascii").split(';').next().unwrap_or_default().to_string();
            let name = pair.split('=').next().unwrap_or_default().to_string();
            self.cookies.retain(|c| c.split('=').next() != Some(&name));
            if !pair.ends_with('=') {
                self.cookies.push(pair);
            }
        }
        let bytes = to_bytes(body, 4 << 20).await.expect("a whole body");
        Answer {
            status: parts.status.as_u16(),
            body: String::from_utf8_lossy(&bytes).into_owned(),
            location: parts
                .headers
                .get(header::LOCATION)
                .and_then(|l| l.to_str().ok())
                .unwrap_or_default()
                .to_string(),
            headers: parts.headers,
        }
    }
}
