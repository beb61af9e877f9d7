//! The header as a C compiler sees it: functions with their parameters, structs with the places of their members.

use std::collections::BTreeMap;
use std::path::Path;

/// A function: its name, its declaration on one line, and the names of its parameters.
pub(crate) struct Function {
    pub(crate) name: String,
    pub(crate) declaration: String,
    pub(crate) parameters: Vec<String>,
}

/// A member of a struct: where it is, and how many bytes it has.
pub(crate) struct Member {
    pub(crate) name: String,
    pub(crate) declaration: String,
    pub(crate) offset: usize,
    pub(crate) size: usize,
}

pub(crate) struct Struct {
    pub(crate) members: Vec<Member>,
    pub(crate) size: usize,
    pub(crate) alignment: usize,
}

pub(crate) struct Header {
    pub(crate) functions: Vec<Function>,
    pub(crate) structs: BTreeMap<String, Struct>,
    pub(crate) constants: Vec<(String, String)>,
}

impl Header {
    pub(crate) fn read() -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("include/wheel_alignment.h");
        Self::parse(&std::fs::read_to_string(path).unwrap())
    }

    fn parse(text: &str) -> Self {
        let (_, text) = text.split_once("*/").unwrap();
        let code: Vec<&str> = text.lines().map(|line| line.split("//").next().unwrap().trim()).collect();
        let constants = code.iter().filter_map(|line| line.strip_prefix("#define WA_")?.split_once(' '));
        let constants: Vec<_> =
            constants.map(|(name, value)| (format!("WA_{name}"), value.trim().to_owned())).collect();
        let lengths: BTreeMap<String, usize> =
            constants.iter().filter_map(|(name, value)| Some((name.clone(), value.parse().ok()?))).collect();
        let code = code.into_iter().filter(|line| !line.starts_with('#')).collect::<Vec<_>>().join(" ");
        let mut header = Self { functions: Vec::new(), structs: BTreeMap::new(), constants };
        let mut rest = code.split_once("extern \"C\" {").map_or(code.as_str(), |(before, _)| before);
        while let Some((_, after)) = rest.split_once("typedef struct ") {
            // One whose members are the library's own: typedef struct name name;
            if let Some((hidden, later)) = after.split_once(';')
                && !hidden.contains('{')
            {
                rest = later;
                continue;
            }
            let (name, after) = after.split_once('{').unwrap();
            let (members, after) = after.split_once('}').unwrap();
            let made = header.lay_out(members, &lengths);
            assert!(header.structs.insert(name.trim().to_owned(), made).is_none());
            rest = after;
        }
        let functions = code.split_once("extern \"C\" {").unwrap().1;
        header.functions = functions.split(';').filter_map(function).collect();
        header
    }

    /// Puts members one after the other, each at a multiple of its alignment, as C compilers of 64 bits do.
    fn lay_out(&self, members: &str, lengths: &BTreeMap<String, usize>) -> Struct {
        let mut made = Struct { members: Vec::new(), size: 0, alignment: 1 };
        for declaration in members.split(';').map(one_line).filter(|declaration| !declaration.is_empty()) {
            let (before, dimensions) = declaration.split_once('[').map_or((&declaration[..], ""), |both| both);
            let (kind, name) = before.rsplit_once([' ', '*']).unwrap();
            let pointer = before.contains('*');
            let (size, alignment) = match kind.trim() {
                _ if pointer => (8, 8),
                "double" | "size_t" | "int64_t" | "uint64_t" => (8, 8),
                "int32_t" | "uint32_t" => (4, 4),
                "char" => (1, 1),
                other => {
                    let of = &self.structs[other.strip_prefix("struct ").unwrap_or(other)];
                    (of.size, of.alignment)
                }
            };
            let count: usize = dimensions
                .split('[')
                .map(|part| part.trim_end_matches(']'))
                .filter(|part| !part.is_empty())
                .map(|length| length.parse().unwrap_or_else(|_| lengths[length]))
                .product();
            let offset = made.size.next_multiple_of(alignment);
            made.size = offset + size * count;
            made.alignment = made.alignment.max(alignment);
            let name = name.to_owned();
            made.members.push(Member { name, declaration, offset, size: size * count });
        }
        made.size = made.size.next_multiple_of(made.alignment);
        made
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn function(declaration: &str) -> Option<Function> {
    let declaration = one_line(declaration);
    let (before, parameters) = declaration.split_once('(')?;
    let name = before.rsplit([' ', '*']).next().unwrap().to_owned();
    let parameters = parameters.trim_end_matches(')').split(',').map(|parameter| {
        let parameter = parameter.split('[').next().unwrap().trim();
        parameter.rsplit([' ', '*']).next().unwrap().to_owned()
    });
    let parameters = parameters.filter(|parameter| parameter != "void").collect();
    Some(Function { name, declaration, parameters })
}
