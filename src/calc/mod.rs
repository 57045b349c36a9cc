//! `rinsebell calc`: the computing core as JSON documents.
