//! Gives the shared library its run-time name, which Cargo does not: `libwheel_alignment.so.0`.

use std::env;

/// The value of `WA_ABI_VERSION`; a test holds the two together.
const ABI_VERSION: u32 = 0;

fn main() {
    println!("cargo::rerun-if-changed=build.rs");
    let family = env::var("CARGO_CFG_TARGET_FAMILY").unwrap_or_default();
    let vendor = env::var("CARGO_CFG_TARGET_VENDOR").unwrap_or_default();
    if vendor == "apple" {
        println!("cargo::rustc-cdylib-link-arg=-Wl,-install_name,@rpath/libwheel_alignment.{ABI_VERSION}.dylib");
    } else if family.split(',').any(|name| name == "unix") {
        println!("cargo::rustc-cdylib-link-arg=-Wl,-soname,libwheel_alignment.so.{ABI_VERSION}");
    }
}
