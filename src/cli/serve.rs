//! `rinsebell serve`: the web service.

use crate::app::{App, Settings};
use crate::cluster::StartFault;
use crate::config::ServeArgs;
use crate::reference::Reference;
use crate::serve::{self, Context};
use crate::store::{StoreError, salons};
use crate::web::routes;
use crate::{demo, flow, work};
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
    if context.config.demo {
        demo::load(&context.owner, &app)
            .await
            .map_err(|e| StartFault::Other(format!("The demo salon could not be loaded: {e}.")))?;
    }
    publish(&app)
        .await
        .map_err(|e| StartFault::Other(format!("The shipped protocols could not be published: {e}.")))?;
    let folder = context.config.place.data.root().join("outbox");
    let mailer = context.config.post.mailer(&folder.to_string_lossy(), &context.origin);
    let mailer = mailer.map_err(|fault| StartFault::Settings(vec![fault]))?;
    context.tasks.spawn(work::outbox::run(app.clone(), mailer));
    context.tasks.spawn(work::run(app.clone()));
    let pool = app.pool.clone();
    context.tasks.spawn(async move {
        context.drained.cancelled().await;
        pool.close().await;
    });
    Ok(routes::router(app))
}

/// Gives every salon the shipped protocols it does not have yet.
async fn publish(app: &App) -> Result<(), StoreError> {
    for salon in salons::list_ids(&app.pool).await? {
        let mut s = app.begin(salon).await?;
        flow::protocols::publish_shipped(&mut s).await?;
        s.commit().await?;
    }
    Ok(())
}
