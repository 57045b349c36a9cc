//! The embedded Postgres cluster: find, create, start, attach, stop.
