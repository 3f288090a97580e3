//! Files in and out: headers, samples, damage, foreign readers.

mod damage;
mod foreign;
mod kit;
mod reading;
mod writing;
