//! The checked-in header is what the sources say.

use alignment_core::{ErrorCode, Wheel};
use std::path::{Path, PathBuf};
use std::{env, fs};

/// In the order in which the header is read.
const MODULES: [&str; 30] = [
    "status",
    "error",
    "memory",
    "version",
    "paths",
    "alignment",
    "pose",
    "session",
    "measure",
    "compensation",
    "vehicle",
    "live",
    "batch",
    "propagation",
    "uncertainty",
    "conformity",
    "diagnosis",
    "repeatability",
    "units",
    "wheel",
    "steering",
    "turns",
    "gauge",
    "tyre",
    "datum",
    "adjustment",
    "record",
    "stand",
    "simulate",
    "json",
];

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn generate(folder: &Path) -> String {
    let config = cbindgen::Config::from_file(folder.join("cbindgen.toml")).unwrap();
    let sources = MODULES.map(|name| folder.join("src").join(name).with_extension("rs"));
    let builder = sources.iter().fold(cbindgen::Builder::new().with_config(config), cbindgen::Builder::with_src);
    let mut header = Vec::new();
    builder.generate().unwrap().write(&mut header);
    String::from_utf8(header).unwrap()
}

#[test]
fn the_header_is_current() {
    let path = folder().join("include/wheel_alignment.h");
    let generated = generate(&folder());
    if env::var_os("WA_WRITE_HEADER").is_some() {
        fs::write(&path, &generated).unwrap();
    }
    let checked_in = fs::read_to_string(&path).unwrap_or_default();
    // A checkout may have other line ends.
    let lines = |text: &str| text.lines().map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(
        lines(&generated),
        lines(&checked_in),
        "the header is stale: WA_WRITE_HEADER=1 cargo test -p alignment-ffi --test header"
    );
}

#[test]
fn the_header_has_every_number() {
    let header = generate(&folder());
    let defined = |name: &str| -> i32 {
        let define = format!("#define {name} ");
        let line = header.lines().find_map(|line| line.strip_prefix(&define)).unwrap_or_else(|| panic!("no {name}"));
        line.parse().unwrap()
    };
    for code in ErrorCode::ALL {
        assert_eq!(defined(&format!("WA_{}", code.name().to_uppercase())), code.number());
    }
    for (number, wheel) in Wheel::ALL.iter().enumerate() {
        assert_eq!(defined(&format!("WA_WHEEL_{}", wheel.name().to_uppercase())), i32::try_from(number).unwrap());
    }
    let soname = format!("const ABI_VERSION: u32 = {};", wheel_alignment::WA_ABI_VERSION);
    assert!(fs::read_to_string(folder().join("build.rs")).unwrap().contains(&soname));
}

#[test]
fn the_header_declares_every_function_once() {
    let header = generate(&folder());
    let mut functions = 0;
    for entry in fs::read_dir(folder().join("src")).unwrap() {
        let source = fs::read_to_string(entry.unwrap().path()).unwrap();
        for after in source.split("extern \"C\" fn ").skip(1) {
            let (name, _) = after.split_once('(').unwrap();
            let call = format!("{name}(");
            let declared = header.lines().filter(|line| line.contains(&call) && !line.starts_with([' ', '/']));
            assert_eq!(declared.count(), 1, "{name}");
            functions += 1;
        }
    }
    assert!(functions > 15);
}
