#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| ecgkeep_tests::fuzzed::target("archive_line")(data));
