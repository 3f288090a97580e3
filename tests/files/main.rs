//! Files in and out: headers, samples, damage, foreign readers.

mod commands;
mod damage;
mod demo;
mod dither;
mod ends;
mod finish;
mod foreign;
mod kit;
mod mono;
mod pages;
mod place;
mod rate;
mod reading;
mod release;
mod writing;
