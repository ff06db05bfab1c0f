//! What is written comes back, and what does not is stated.

use ecgkeep_aecg::AECG;
use ecgkeep_demo::every_field;
use ecgkeep_format::{Options, write};

#[test]
fn show() {
    let written = write(&AECG, &[every_field()], "r", &Options::default()).unwrap();
    println!("{}", String::from_utf8(written.files[0].bytes.clone()).unwrap());
    for loss in written.losses {
        println!("{loss}");
    }
}
