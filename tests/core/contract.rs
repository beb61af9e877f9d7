//! The contract, alignment-core/contract.json, holds the Rust docs, the JSON Schema and the README's tables to one vocabulary. A reading or
//! function that is added, renamed or documented otherwise fails here.

use crate::paths::by_path;
use alignment_core::diagnosis::Cause;
use alignment_core::error::WarningCode;
use alignment_core::json::measurement_schema;
use alignment_core::paths::{COUNT, READINGS, position, unit};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{Alignment, ErrorCode, measure};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

fn contract() -> Value {
    let text = std::fs::read_to_string(crate::project_file("alignment-core/contract.json")).unwrap();
    serde_json::from_str(&text).unwrap()
}

fn rows(table: &str) -> Vec<Value> {
    contract()[table].as_array().unwrap().clone()
}

fn field<'a>(row: &'a Value, name: &str) -> &'a str {
    row[name].as_str().unwrap_or_else(|| panic!("{row} has no {name}"))
}

/// `wheels.{fl,fr}.camber_deg` → both paths.
fn expanded(path: &str) -> Vec<String> {
    let Some((before, rest)) = path.split_once('{') else {
        return vec![path.to_owned()];
    };
    let (choices, after) = rest.split_once('}').unwrap();
    choices.split(',').map(|choice| format!("{before}{choice}{after}")).collect()
}

#[test]
fn the_tree_has_the_readings_of_the_contract_and_no_others() {
    let result = measure(&VirtualVehicle::default().session()).unwrap();
    let in_tree: BTreeSet<String> =
        by_path(&result.alignment).into_keys().map(|path| path.split('[').next().unwrap().to_owned()).collect();
    let in_contract: Vec<String> = rows("readings").iter().flat_map(|row| expanded(field(row, "path"))).collect();
    assert_eq!(in_tree, in_contract.iter().cloned().collect());
    assert_eq!(in_tree.len(), in_contract.len(), "a path stands twice");
}

/// The flat list has every reading of the tree, each at its own place, and makes the tree again.
#[test]
fn the_paths_are_those_of_the_tree() {
    let numbered = std::array::from_fn(|index| Some(index as f64));
    let tree = Alignment::from_values(&numbered);
    assert_eq!(tree.values(), numbered);
    let in_tree = by_path(&tree);
    assert_eq!(in_tree.len(), COUNT);
    for (index, path) in READINGS.iter().enumerate() {
        assert_eq!(in_tree[*path], Some(index as f64), "{path}");
        assert_eq!((tree.get(path), position(path)), (Ok(Some(index as f64)), Ok(index)));
    }
    for row in rows("readings") {
        for path in expanded(field(&row, "path")) {
            assert_eq!(unit(&path), field(&row, "unit"), "{path}");
        }
    }
    assert_eq!(Alignment::default().values(), [None; COUNT]);
    let mut broken = numbered;
    broken[position("wheels.fl.centre_mm[1]").unwrap()] = None;
    assert_eq!(Alignment::from_values(&broken).wheels.fl.centre_mm, None);
}

#[test]
fn names_end_in_their_unit_and_every_row_states_sign_and_source() {
    for row in rows("readings") {
        let path = field(&row, "path");
        let expected = match path {
            _ if path.ends_with("_deg") => "deg",
            _ if path.ends_with("_mm") => "mm",
            _ => "1",
        };
        assert_eq!(field(&row, "unit"), expected, "{path}");
        assert!(!field(&row, "sign").is_empty() && !field(&row, "source").is_empty(), "{path}");
    }
}

/// The schema's descriptions are the fields' Rust docs: the contract's meaning holds both.
#[test]
fn the_meaning_is_what_the_docs_and_the_schema_say() {
    let schema: Value = serde_json::from_str(measurement_schema()).unwrap();
    let resolve = |node: &Value| match node["$ref"].as_str() {
        Some(reference) => schema.pointer(reference.trim_start_matches('#')).unwrap().clone(),
        None => node.clone(),
    };
    for row in rows("readings") {
        for path in expanded(field(&row, "path")) {
            let mut node = schema["$defs"]["Alignment"].clone();
            for key in path.split('.') {
                node = resolve(&node)["properties"][key].clone();
            }
            assert_eq!(node["description"].as_str(), Some(field(&row, "meaning")), "{path}");
        }
    }
}

#[test]
fn readings_of_any_car_lie_in_the_range_of_the_contract() {
    let ranges: BTreeMap<String, (f64, f64)> = rows("readings")
        .iter()
        .flat_map(|row| {
            let bound = |index: usize, open: f64| row["range"][index].as_f64().unwrap_or(open);
            let range = (bound(0, f64::NEG_INFINITY), bound(1, f64::INFINITY));
            expanded(field(row, "path")).into_iter().map(move |path| (path, range))
        })
        .collect();
    for seed in 0..100 {
        let result = measure(&VirtualVehicle::random(seed).session()).unwrap();
        for (path, value) in by_path(&result.alignment) {
            let (least, most) = ranges[path.split('[').next().unwrap()];
            if let Some(value) = value {
                assert!((least..=most).contains(&value), "{path}: {value} is not in {least} to {most}");
            }
        }
    }
}

/// A public function of the core, from its source.
struct Function {
    docs: String,
    parameters: Vec<String>,
    fallible: bool,
}

fn docs(attributes: &[syn::Attribute]) -> String {
    let mut text = String::new();
    for attribute in attributes.iter().filter(|attribute| attribute.path().is_ident("doc")) {
        if let syn::Meta::NameValue(syn::MetaNameValue {
            value: syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(line), .. }),
            ..
        }) = &attribute.meta
        {
            writeln!(text, "{}", line.value().trim()).unwrap();
        }
    }
    text
}

fn function(attributes: &[syn::Attribute], signature: &syn::Signature) -> Function {
    let fallible = match &signature.output {
        syn::ReturnType::Type(_, returned) => matches!(
            returned.as_ref(),
            syn::Type::Path(path) if path.path.segments.last().is_some_and(|last| last.ident == "Result")
        ),
        syn::ReturnType::Default => false,
    };
    let parameters = signature
        .inputs
        .iter()
        .filter_map(|input| match input {
            syn::FnArg::Typed(syn::PatType { pat, .. }) => match pat.as_ref() {
                syn::Pat::Ident(name) => Some(name.ident.to_string()),
                _ => panic!("{}: an argument without a name", signature.ident),
            },
            syn::FnArg::Receiver(_) => None,
        })
        .collect();
    Function { docs: docs(attributes), parameters, fallible }
}

/// The modules of plumbing: names, typed geometry and the accessors of an error are no functions of the trade.
const PLUMBING: [&str; 4] = ["error", "frame", "layout", "lib"];

fn public_functions() -> BTreeMap<String, Function> {
    let mut functions = BTreeMap::new();
    let files = |folder: std::path::PathBuf| std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    for path in files(crate::project_file("alignment-core/src")) {
        let module = path.file_stem().unwrap().to_str().unwrap().to_owned();
        if PLUMBING.contains(&module.as_str()) {
            continue;
        }
        // The parts of a module that fills a folder are known by the module's name.
        let parts = if path.is_dir() { files(path).collect() } else { vec![path] };
        for part in parts {
            functions_of(&module, &part, &mut functions);
        }
    }
    functions
}

fn functions_of(module: &str, path: &std::path::Path, functions: &mut BTreeMap<String, Function>) {
    let public = |visibility: &syn::Visibility| matches!(visibility, syn::Visibility::Public(_));
    for item in syn::parse_file(&std::fs::read_to_string(path).unwrap()).unwrap().items {
        match item {
            syn::Item::Fn(item) if public(&item.vis) => {
                functions.insert(format!("{module}::{}", item.sig.ident), function(&item.attrs, &item.sig));
            }
            syn::Item::Impl(item) if item.trait_.is_none() => {
                let syn::Type::Path(of) = item.self_ty.as_ref() else { continue };
                let of = of.path.segments.last().unwrap().ident.to_string();
                for member in item.items {
                    if let syn::ImplItem::Fn(member) = member
                        && public(&member.vis)
                    {
                        let name = format!("{module}::{of}::{}", member.sig.ident);
                        functions.insert(name, function(&member.attrs, &member.sig));
                    }
                }
            }
            _ => {}
        }
    }
}

#[test]
fn the_core_has_the_functions_of_the_contract_and_no_others() {
    let in_core: BTreeSet<String> = public_functions().into_keys().collect();
    let in_contract: BTreeSet<String> = rows("functions").iter().map(|row| field(row, "name").to_owned()).collect();
    assert_eq!(in_core, in_contract);
}

#[test]
fn the_functions_have_the_parameters_of_the_contract() {
    let functions = public_functions();
    for row in rows("functions") {
        let name = field(&row, "name");
        assert_eq!(json!(functions[name].parameters), row["parameters"], "{name}");
    }
}

/// The public structs with their public fields and the public constants, each under the path at which a user finds it.
#[derive(Default)]
struct Items {
    structs: BTreeMap<String, Value>,
    constants: BTreeMap<String, Value>,
}

/// The items of a source file that are public, or of these names.
fn add_items(items: &mut Items, module: &str, source: &std::path::Path, names: Option<&BTreeSet<String>>) {
    let shown = |visibility: &syn::Visibility, name: &syn::Ident| {
        matches!(visibility, syn::Visibility::Public(_)) && names.is_none_or(|names| names.contains(&name.to_string()))
    };
    let file = syn::parse_file(&std::fs::read_to_string(source).unwrap()).unwrap();
    for item in &file.items {
        match item {
            syn::Item::Struct(item) if shown(&item.vis, &item.ident) => {
                let public = |field: &&syn::Field| matches!(field.vis, syn::Visibility::Public(_));
                let named: Vec<String> = (item.fields.iter().filter(public))
                    .filter_map(|field| field.ident.as_ref().map(syn::Ident::to_string))
                    .collect();
                if !named.is_empty() {
                    items.structs.insert(format!("{module}::{}", item.ident), json!(named));
                }
            }
            syn::Item::Const(item) if shown(&item.vis, &item.ident) => {
                if let Some(value) = constant(&item.expr) {
                    items.constants.insert(format!("{module}::{}", item.ident), value);
                }
            }
            syn::Item::Use(item) if matches!(item.vis, syn::Visibility::Public(_)) && names.is_none() => {
                let mut path = Vec::new();
                let mut tree = &item.tree;
                while let syn::UseTree::Path(step) = tree {
                    path.push(step.ident.to_string());
                    tree = &step.tree;
                }
                let names: BTreeSet<String> = match tree {
                    syn::UseTree::Group(group) => group.items.iter().filter_map(use_name).collect(),
                    single => use_name(single).into_iter().collect(),
                };
                // Of a sibling, or of a part of a module that fills a folder.
                let folder = source.parent().unwrap();
                let from = folder.join(format!("{}.rs", path.last().unwrap()));
                if from.exists() {
                    add_items(items, module, &from, Some(&names));
                }
            }
            _ => {}
        }
    }
}

fn use_name(tree: &syn::UseTree) -> Option<String> {
    if let syn::UseTree::Name(name) = tree { Some(name.ident.to_string()) } else { None }
}

/// The value of a constant that is a number, or a range of two.
fn constant(value: &syn::Expr) -> Option<Value> {
    let number =
        |value: f64| if value.fract() == 0.0 && value.abs() < 1e15 { json!(value as i64) } else { json!(value) };
    fn evaluate(value: &syn::Expr) -> Option<f64> {
        match value {
            syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Float(number), .. }) => number.base10_parse().ok(),
            syn::Expr::Lit(syn::ExprLit { lit: syn::Lit::Int(number), .. }) => number.base10_parse().ok(),
            syn::Expr::Unary(syn::ExprUnary { op: syn::UnOp::Neg(_), expr, .. }) => evaluate(expr).map(|v| -v),
            syn::Expr::Binary(syn::ExprBinary { left, op: syn::BinOp::Div(_), right, .. }) => {
                Some(evaluate(left)? / evaluate(right)?)
            }
            syn::Expr::Path(path) if path.path.is_ident("PI") => Some(std::f64::consts::PI),
            _ => None,
        }
    }
    match value {
        syn::Expr::Array(array) => {
            let numbers: Option<Vec<Value>> =
                array.elems.iter().map(|number_of| evaluate(number_of).map(number)).collect();
            numbers.map(Value::from)
        }
        single => evaluate(single).map(number),
    }
}

/// Other languages have the same fields and constants under the same names: tests/py/test_contract.py.
#[test]
fn the_core_has_the_fields_and_constants_of_the_contract_and_no_others() {
    let root = crate::project_file("alignment-core/src");
    let mut items = Items::default();
    for item in syn::parse_file(&std::fs::read_to_string(root.join("lib.rs")).unwrap()).unwrap().items {
        let syn::Item::Mod(module) = item else { continue };
        let name = module.ident.to_string();
        // A module without a file of its own is a page of the docs.
        let page = module.content.is_some();
        if matches!(module.vis, syn::Visibility::Public(_)) && name != "frame" && !page {
            let file = root.join(format!("{name}.rs"));
            let source = if file.exists() { file } else { root.join(&name).join("mod.rs") };
            add_items(&mut items, &name, &source, None);
        }
    }
    let table = |name: &str, of: &str| -> BTreeMap<String, Value> {
        rows(name).iter().map(|row| (field(row, "name").to_owned(), row[of].clone())).collect()
    };
    assert_eq!(items.structs, table("structs", "fields"));
    assert_eq!(items.constants, table("constants", "value"));
}

#[test]
fn the_docs_of_a_function_name_its_errors_and_its_unit() {
    let functions = public_functions();
    for row in rows("functions") {
        let name = field(&row, "name");
        let Function { docs, fallible, .. } = &functions[name];
        let errors: Vec<&str> = row["errors"].as_array().unwrap().iter().map(|code| code.as_str().unwrap()).collect();
        assert_eq!(*fallible, !errors.is_empty(), "{name}: errors in the contract against the signature");
        assert_eq!(docs.contains("# Errors"), *fallible, "{name}: errors in the docs against the signature");
        for code in &errors {
            assert!(ErrorCode::ALL.iter().any(|known| format!("{known:?}") == *code), "{name}: {code} is no code");
        }
        let section = docs.split_once("# Errors").map_or("", |(_, errors)| errors);
        for named in section.split("ErrorCode::").skip(1) {
            let code: String = named.chars().take_while(char::is_ascii_alphanumeric).collect();
            assert!(errors.contains(&code.as_str()), "{name}: its docs name {code}, the contract does not");
        }
        match field(&row, "unit") {
            "deg" => assert!(docs.contains("degree") || docs.contains('°'), "{name}: no unit in its docs"),
            "mm" => assert!(docs.contains("mm") || name.contains("Pose"), "{name}: no unit in its docs"),
            _ => {}
        }
        let short = ["Sighting::frames", "JsonError::code_of", "JsonError::specification_code_of"];
        let shown = docs.contains("```") || short.iter().any(|tail| name.ends_with(tail));
        assert!(shown || ["pose::Pose::rig_from_target", "session::up_in_rig"].contains(&name), "{name}: no example");
    }
}

#[test]
fn codes_have_the_numbers_of_the_contract() {
    let errors: Vec<_> = ErrorCode::ALL.iter().map(|c| (format!("{c:?}"), c.name(), c.number())).collect();
    let warnings: Vec<_> = WarningCode::ALL.iter().map(|c| (format!("{c:?}"), c.name(), c.number())).collect();
    for (table, codes) in [("errors", errors), ("warnings", warnings)] {
        let rows = rows(table);
        assert_eq!(rows.len(), codes.len());
        for (row, (code, name, number)) in rows.iter().zip(codes) {
            assert_eq!((field(row, "code"), field(row, "name")), (code.as_str(), name));
            assert_eq!(row["number"].as_i64(), Some(i64::from(number)), "{code}: a number is never changed");
        }
    }
}

#[test]
fn causes_have_the_numbers_of_the_contract() {
    let causes: Vec<_> =
        Cause::ALL.iter().map(|cause| (format!("{cause:?}"), cause.to_string(), *cause as i64)).collect();
    let in_contract: Vec<_> = (rows("causes").iter())
        .map(|row| (field(row, "code").to_owned(), field(row, "name").to_owned(), row["number"].as_i64().unwrap()))
        .collect();
    assert_eq!(causes, in_contract, "a number is never changed");
}

/// The docs of each code and each cause are the contract's meaning.
#[test]
fn the_docs_of_a_code_are_its_meaning() {
    let items = |name: &str| {
        let source = std::fs::read_to_string(crate::project_file(name)).unwrap();
        syn::parse_file(&source).unwrap().items
    };
    for item in items("alignment-core/src/error.rs").into_iter().chain(items("alignment-core/src/diagnosis.rs")) {
        let syn::Item::Enum(item) = item else { continue };
        let table = match item.ident.to_string().as_str() {
            "ErrorCode" => "errors",
            "WarningCode" => "warnings",
            "Cause" => "causes",
            _ => continue,
        };
        for (row, variant) in rows(table).iter().zip(&item.variants) {
            assert_eq!(docs(&variant.attrs).trim(), field(row, "meaning"), "{}", variant.ident);
        }
    }
}

/// The README's report and its tables of readings and codes are generated between their markers.
#[test]
fn the_report_and_the_tables_of_the_readme_are_generated() {
    let mut readings = "| path | unit | sign |\n|---|---|---|\n".to_owned();
    for row in rows("readings") {
        writeln!(readings, "| `{}` | {} | {} |", field(&row, "path"), field(&row, "unit"), field(&row, "sign"))
            .unwrap();
    }
    let mut codes = "| number | name | meaning |\n|---|---|---|\n".to_owned();
    for row in rows("errors").iter().chain(&rows("warnings")) {
        writeln!(codes, "| {} | `{}` | {} |", row["number"], field(row, "name"), field(row, "meaning")).unwrap();
    }
    let report = String::from_utf8(crate::program::example("align").output().unwrap().stdout).unwrap();
    let demo = format!("```text\n{report}```\n");
    let judged =
        crate::program::example("align").args(["--spec", "examples/demo_specification.json"]).output().unwrap();
    let judged = String::from_utf8(judged.stdout).unwrap();
    let verdicts = judged.split_once("By the specification").unwrap().1.split_once("\n\nNo warnings").unwrap().0;
    let verdicts = format!("```text\nBy the specification{verdicts}\n```\n");
    let budget = String::from_utf8(crate::program::example("uncertainty").output().unwrap().stdout).unwrap();
    let scatter = String::from_utf8(crate::program::example("scatter").output().unwrap().stdout).unwrap();
    let readme = std::fs::read_to_string(crate::project_file("README.md")).unwrap();
    let mut generated = readme;
    for (name, table) in [
        ("demo", demo),
        ("budget", budget),
        ("verdicts", verdicts),
        ("scatter", scatter),
        ("readings", readings),
        ("codes", codes),
    ] {
        let (begin, end) = (format!("<!-- begin {name} -->\n"), format!("<!-- end {name} -->"));
        let from = generated.find(&begin).unwrap_or_else(|| panic!("README.md has no {begin}")) + begin.len();
        let to = generated.find(&end).unwrap_or_else(|| panic!("README.md has no {end}"));
        generated.replace_range(from..to, &table);
    }
    crate::assert_generated("README.md", &generated);
}
