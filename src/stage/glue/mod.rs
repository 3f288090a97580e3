//! Placeholder, filled by its own commit.
