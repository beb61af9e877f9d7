//! Reads what Python hands over: JSON texts, and trees of mappings, dataclasses, sequences, numbers, and arrays that
//! have `tolist`.
//!
//! Unlike JSON, trees can hold numbers that are not finite. They reach the core, whose error names the place.

use crate::error;
use alignment_core::ErrorCode;
use alignment_core::Session;
use alignment_core::conformity::Specification;
use alignment_core::json::{JsonError, session_from_json, specification_from_json, stand_requirements_from_json};
use alignment_core::session::Method;
use alignment_core::stand::StandRequirements;
use pyo3::prelude::*;
use pyo3::types::{PyBool, PyFloat, PyInt, PyList, PyMapping, PyString, PyTuple};
use serde::de::value::{MapAccessDeserializer, StrDeserializer};
use serde::de::{
    self, DeserializeOwned, DeserializeSeed, Deserializer, IntoDeserializer, MapAccess, SeqAccess, Unexpected, Visitor,
};
use std::fmt;

/// Reads a session: a text is its JSON, and one that was read is itself. A method, unless it is None, takes the place of the session's own.
pub(crate) fn session(given: Bound<'_, PyAny>, method: Bound<'_, PyAny>) -> PyResult<Session> {
    let session = if let Ok(session) = given.cast::<crate::session::Session>() {
        session.get().0.clone()
    } else {
        text_or_tree(given, session_from_json, |py, reason, message, path| {
            error::from_tree(py, JsonError::code_of(reason), &message, path)
        })?
    };
    let method: Option<Method> =
        read(method, |py, reason, message, path| error::from_argument(py, reason, format!("method: {message}"), path))?;
    Ok(Session { method: method.unwrap_or(session.method), ..session })
}

/// Reads a specification: a text is its JSON.
pub(crate) fn specification(given: Bound<'_, PyAny>) -> PyResult<Specification> {
    text_or_tree(given, specification_from_json, |py, reason, message, path| {
        error::from_tree(py, JsonError::specification_code_of(reason), &message, path)
    })
}

/// Reads what is required of a stand: a text is its JSON.
pub(crate) fn stand_requirements(given: Bound<'_, PyAny>) -> PyResult<StandRequirements> {
    text_or_tree(given, stand_requirements_from_json, |py, _, message, path| {
        error::from_tree(py, ErrorCode::NotASpecification, &message, path)
    })
}

/// Reads arguments that come as one tree.
pub(crate) fn arguments<T: DeserializeOwned>(given: Bound<'_, PyAny>) -> PyResult<T> {
    read(given, error::from_argument)
}

/// Makes an exception of a reason, the reason with its path, and the path.
type Refuse = fn(Python<'_>, &str, String, &str) -> PyErr;

fn text_or_tree<T: DeserializeOwned + Send>(
    given: Bound<'_, PyAny>,
    from_json: fn(&str) -> Result<T, JsonError>,
    refuse: Refuse,
) -> PyResult<T> {
    let py = given.py();
    let Ok(text) = given.cast::<PyString>() else { return read(given, refuse) };
    let text = text.to_cow()?;
    py.detach(|| from_json(&text)).map_err(|fault| error::from_json(py, &fault))
}

fn read<T: DeserializeOwned>(given: Bound<'_, PyAny>, refuse: Refuse) -> PyResult<T> {
    let py = given.py();
    serde_path_to_error::deserialize(Tree(given)).map_err(|fault| {
        let path = fault.path().to_string();
        match fault.into_inner() {
            Fault::Raised(exception) => exception,
            // At the top the path is ".", which tells a reader nothing.
            Fault::Wrong(reason) if path == "." => refuse(py, &reason, reason.clone(), ""),
            Fault::Wrong(reason) => refuse(py, &reason, format!("{path}: {reason}"), &path),
        }
    })
}

/// Why an object could not be read.
#[derive(Debug)]
enum Fault {
    /// It is not what belongs there.
    Wrong(String),
    /// Python raised an exception while it was read.
    Raised(PyErr),
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Wrong(reason) => f.write_str(reason),
            Self::Raised(exception) => write!(f, "{exception}"),
        }
    }
}

impl std::error::Error for Fault {}

impl de::Error for Fault {
    fn custom<T: fmt::Display>(reason: T) -> Self {
        Self::Wrong(reason.to_string())
    }
}

impl From<PyErr> for Fault {
    fn from(exception: PyErr) -> Self {
        Self::Raised(exception)
    }
}

/// A Python object as part of a tree.
struct Tree<'py>(Bound<'py, PyAny>);

impl<'de> Deserializer<'de> for Tree<'_> {
    type Error = Fault;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        let value = plain(self.0)?;
        if value.is_none() {
            visitor.visit_unit()
        } else if let Ok(truth) = value.cast::<PyBool>() {
            visitor.visit_bool(truth.is_true())
        } else if value.is_instance_of::<PyFloat>() {
            visitor.visit_f64(value.extract()?)
        } else if value.is_instance_of::<PyInt>() {
            if let Ok(number) = value.extract::<i64>() {
                visitor.visit_i64(number)
            } else if let Ok(number) = value.extract::<u64>() {
                visitor.visit_u64(number)
            } else {
                // An integer past all floats: the core refuses it as not finite, and names the place.
                visitor.visit_f64(value.extract().unwrap_or(f64::INFINITY))
            }
        } else if let Ok(text) = value.cast::<PyString>() {
            visitor.visit_str(&text.to_cow()?)
        } else if let Ok(list) = value.cast::<PyList>() {
            Items::visit(list.iter().collect(), visitor)
        } else if let Ok(tuple) = value.cast::<PyTuple>() {
            Items::visit(tuple.iter().collect(), visitor)
        } else if let Some(members) = Pairs::of(&value)? {
            visitor.visit_map(members)
        } else {
            Err(unexpected(&value, &visitor))
        }
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        if self.0.is_none() { visitor.visit_none() } else { visitor.visit_some(self) }
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _name: &'static str,
        _variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        let Ok(text) = self.0.cast::<PyString>() else {
            // A variant that holds something stands under its name.
            return match Pairs::of(&self.0)? {
                // As in JSON, a second name is a fault, and nothing that is passed is lost.
                Some(members) if members.pairs.len() > 1 => {
                    Err(de::Error::invalid_length(members.pairs.len(), &"one member"))
                }
                Some(members) => visitor.visit_enum(MapAccessDeserializer::new(members)),
                None => self.deserialize_any(visitor),
            };
        };
        let text = text.to_cow()?;
        let name: StrDeserializer<'_, Fault> = text.as_ref().into_deserializer();
        visitor.visit_enum(name)
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf unit unit_struct
        newtype_struct seq tuple tuple_struct map struct identifier ignored_any
    }
}

/// Arrays and their scalars as Python's own lists and numbers; all else as it is.
fn plain(value: Bound<'_, PyAny>) -> PyResult<Bound<'_, PyAny>> {
    if value.is_instance_of::<PyFloat>() || value.is_instance_of::<PyList>() {
        return Ok(value);
    }
    let Some(tolist) = value.getattr_opt("tolist")? else { return Ok(value) };
    // An array of no numbers is an empty list, however many rows of nothing it has: they would fill the memory.
    let empty = match value.getattr_opt("size")? {
        Some(size) => size.eq(0)?,
        None => false,
    };
    if empty { Ok(PyList::empty(value.py()).into_any()) } else { tolist.call0() }
}

fn unexpected(value: &Bound<'_, PyAny>, expected: &dyn de::Expected) -> Fault {
    match value.get_type().qualname() {
        Ok(name) => de::Error::invalid_type(Unexpected::Other(&format!("a Python {name}")), expected),
        Err(exception) => exception.into(),
    }
}

/// The items of a list or tuple.
struct Items<'py>(std::vec::IntoIter<Bound<'py, PyAny>>);

impl<'py> Items<'py> {
    /// Lets a visitor take all items: as in JSON, one too many is a fault.
    fn visit<'de, V: Visitor<'de>>(items: Vec<Bound<'py, PyAny>>, visitor: V) -> Result<V::Value, Fault> {
        let count = items.len();
        let mut items = Self(items.into_iter());
        let value = visitor.visit_seq(&mut items)?;
        if items.0.next().is_some() {
            return Err(de::Error::invalid_length(count, &"fewer elements"));
        }
        Ok(value)
    }
}

impl<'de> SeqAccess<'de> for &mut Items<'_> {
    type Error = Fault;

    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, Fault> {
        self.0.next().map(|item| seed.deserialize(Tree(item))).transpose()
    }

    fn size_hint(&self) -> Option<usize> {
        Some(self.0.len())
    }
}

/// The items of a mapping.
struct Pairs<'py> {
    pairs: std::vec::IntoIter<(Bound<'py, PyAny>, Bound<'py, PyAny>)>,
    value: Option<Bound<'py, PyAny>>,
}

impl<'py> Pairs<'py> {
    /// What has members: a mapping, or a dataclass by its fields.
    fn of(value: &Bound<'py, PyAny>) -> PyResult<Option<Self>> {
        let pairs = if let Ok(mapping) = value.cast::<PyMapping>() {
            mapping.items()?.iter().map(|pair| pair.extract()).collect::<PyResult<Vec<_>>>()?
        } else if let Some(fields) = value.getattr_opt("__dataclass_fields__")? {
            let names = fields.cast::<PyMapping>().map_err(PyErr::from)?.keys()?;
            let pair = |name: Bound<'py, PyAny>| Ok((name.clone(), value.getattr(name.cast::<PyString>()?)?));
            names.iter().map(pair).collect::<PyResult<Vec<_>>>()?
        } else {
            return Ok(None);
        };
        Ok(Some(Self { pairs: pairs.into_iter(), value: None }))
    }
}

impl<'de> MapAccess<'de> for Pairs<'_> {
    type Error = Fault;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, Fault> {
        let Some((key, value)) = self.pairs.next() else {
            return Ok(None);
        };
        self.value = Some(value);
        seed.deserialize(Tree(key)).map(Some)
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Fault> {
        let value = self.value.take().ok_or_else(|| Fault::Wrong("a key without a value".to_owned()))?;
        seed.deserialize(Tree(value))
    }
}
