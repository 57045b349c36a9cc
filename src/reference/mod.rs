//! The data files of `shared/`, loaded and checked into domain types.
