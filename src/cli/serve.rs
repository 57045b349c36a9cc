//! `rinsebell serve`: the web service.

use crate::app::{App, Settings};
use crate::cluster::StartFault;
use crate::config::ServeArgs;
use crate::reference::Reference;
use crate::serve::{self, Context};
use crate::web::routes;
use axum::Router;

/// Serves until it is told to stop.
pub async fn main(args: &ServeArgs) -> Result<(), StartFault> {
    serve::run(args.check()?, async |context| make_router(context).await).await
}

async fn make_router(context: Context) -> Result<Router, StartFault> {
    let settings = Settings {
        secure: context.secure,
        practice: context.config.practice,
        demo: context.config.demo && context.config.listen.ip().is_loopback(),
    };
    let app = App::start(context.app, Reference::embedded(), settings, context.stop);
    let pool = app.pool.clone();
    context.tasks.spawn(async move {
        context.drained.cancelled().await;
        pool.close().await;
    });
    Ok(routes::router(app))
}
