//! Files in and out: headers, samples, damage, foreign readers.

mod commands;
mod damage;
mod deliveries;
mod demo;
mod dither;
mod encoded;
mod ends;
mod finish;
mod foreign;
mod kit;
mod loud;
mod metadata;
mod mono;
mod pages;
mod place;
mod rate;
mod reading;
mod record;
mod reference;
mod release;
mod writing;
