//! That every format can be taken alone, and that a plain build compiles no C code.

use std::collections::BTreeSet;
use std::process::{Command, Output};

use ecgkeep_tests::repository::root;
use serde_json::Value;

fn cargo(arguments: &[&str]) -> Output {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| env!("CARGO").into());
    Command::new(cargo).args(arguments).arg("--offline").current_dir(root()).output().expect("cargo runs")
}

fn stdout(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// The features of the facade that stand for a format: those that are on by default, and those that name a crate.
fn formats() -> Vec<String> {
    let metadata: Value =
        serde_json::from_str(&stdout(&cargo(&["metadata", "--format-version", "1", "--no-deps"])))
            .expect("JSON");
    let packages = metadata["packages"].as_array().expect("packages");
    let facade = packages.iter().find(|package| package["name"] == "ecgkeep").expect("the facade");
    let default = facade["features"]["default"].as_array().expect("default features");
    default.iter().map(|feature| feature.as_str().expect("a name").to_owned()).collect()
}

#[test]
fn each_format_alone_and_none_at_all_compile() {
    let formats = formats();
    assert!(formats.len() >= 4, "{formats:?}");
    for feature in formats.iter().map(String::as_str).chain([""]) {
        let checked = cargo(&[
            "check",
            "--quiet",
            "--package",
            "ecgkeep",
            "--no-default-features",
            "--features",
            feature,
        ]);
        assert!(checked.status.success(), "{feature:?}: {}", String::from_utf8_lossy(&checked.stderr));
        assert_eq!(String::from_utf8_lossy(&checked.stderr), "", "{feature:?}: a warning");
    }
}

/// What a build script compiles or finds C code with.
const C_BUILDERS: &[&str] = &["autotools", "bindgen", "cc", "cmake", "pkg-config", "vcpkg"];

/// The dependencies of a package of ours, built as it is published, on this platform.
fn dependencies(package: &str, features: &[&str]) -> BTreeSet<String> {
    let tree = [
        &["tree", "--package", package, "--edges", "normal,build", "--prefix", "none"],
        features,
        &["--format", "{p}"],
    ]
    .concat();
    stdout(&cargo(&tree)).lines().filter_map(|line| line.split(' ').next()).map(str::to_owned).collect()
}

#[test]
fn a_plain_build_compiles_no_c_code() {
    let compiling = |features: &[&str]| -> Vec<&str> {
        let found = dependencies("ecgkeep", features);
        assert!(found.contains("ecgkeep-recording"), "the tree is read: {found:?}");
        C_BUILDERS.iter().copied().filter(|name| found.contains(*name)).collect()
    };
    for features in [&["--no-default-features"][..], &[], &["--features", "pdf"]] {
        assert_eq!(compiling(features), Vec::<&str>::new(), "{features:?}");
    }
    // The catalogue of the archive is SQLite: what compiles C is found.
    assert!(compiling(&["--features", "archive"]).contains(&"cc"));
}
