#![allow(dead_code)]
mod figures;

fn main() {}
