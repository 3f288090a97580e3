//! The stages and meters against published numbers. The source stands beside each check.
