//! libFuzzer's way to the target of this name.
#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| permeated_fuzz::configuration::take(bytes));
