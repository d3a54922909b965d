//! Asks pkg-config where the installed library lies.
use std::process::Command;

fn main() {
    println!("cargo:rerun-if-env-changed=PKG_CONFIG_PATH");
    let output = Command::new("pkg-config")
        .args(["--libs-only-L", "faultloom"])
        .output()
        .expect("pkg-config runs");
    assert!(
        output.status.success(),
        "pkg-config does not know faultloom"
    );
    let words = String::from_utf8(output.stdout).expect("paths are UTF-8");
    for folder in words
        .split_whitespace()
        .filter_map(|word| word.strip_prefix("-L"))
    {
        println!("cargo:rustc-link-search=native={folder}");
    }
}
