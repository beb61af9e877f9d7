//! From text to value and back.
//!
//! Reading goes by two steps: serde_json makes a tree of the text, and one small deserializer makes the value of the tree. Were values read from
//! the text itself, serde_json's reader would be compiled anew for every type, which comes to more code than all formulas of a wheel. Where a
//! value is at fault, its place in the text is sought by reading once more, down to it.

use alloc::borrow::Cow;
use alloc::boxed::Box;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::fmt::{self, Write as _};
use core::slice;
use serde::de::value::BorrowedStrDeserializer;
use serde::de::{
    self, Deserialize, DeserializeSeed, Deserializer, Expected, IgnoredAny, MapAccess, SeqAccess, Unexpected, Visitor,
};
use serde::ser::{
    self, Impossible, Serialize, SerializeMap, SerializeSeq, SerializeStruct, SerializeTuple, SerializeTupleStruct,
    Serializer,
};
use serde_json::Number;

/// Why a text could not be read: what is wrong, the path to it, the line and the column.
pub(super) struct Fault {
    pub(super) reason: String,
    pub(super) path: String,
    pub(super) line: usize,
    pub(super) column: usize,
}

/// Reads a value.
pub(super) fn read<T: de::DeserializeOwned>(text: &str) -> Result<T, Fault> {
    let tree = Node::of(text)?;
    T::deserialize(At(&tree)).map_err(|problem| problem.in_text(text))
}

/// A text as a tree: members in their order, and twice where they stand twice.
enum Node<'a> {
    Null,
    Bool(bool),
    Unsigned(u64),
    Signed(i64),
    Float(f64),
    Text(Cow<'a, str>),
    List(Vec<Node<'a>>),
    Object(Vec<(Cow<'a, str>, Node<'a>)>),
}

/// A step of the path from the whole to a part; a member by its place as well, since its name may stand twice.
enum Step {
    Member(usize, String),
    Element(usize),
}

/// The path as it is written: `rolling[2].fl`.
fn path<'s>(steps: impl Iterator<Item = &'s Step>) -> String {
    let mut path = String::new();
    for step in steps {
        // Writing to a string cannot fail.
        let _ = match step {
            Step::Member(_, name) if path.is_empty() => write!(path, "{name}"),
            Step::Member(_, name) => write!(path, ".{name}"),
            Step::Element(index) => write!(path, "[{index}]"),
        };
    }
    path
}

impl<'a> Node<'a> {
    fn of(text: &'a str) -> Result<Self, Fault> {
        let mut reader = serde_json::Deserializer::from_str(text);
        let mut trail = Vec::new();
        let tree = Grow(&mut trail).deserialize(&mut reader);
        tree.and_then(|tree| reader.end().map(|()| tree)).map_err(|error| {
            // serde_json ends its sentence with the place; here the place stands apart.
            let sentence = error.to_string();
            let reason = sentence.rsplit_once(" at line ").map_or(sentence.as_str(), |(reason, _)| reason).to_string();
            Fault { reason, path: path(trail.iter()), line: error.line(), column: error.column() }
        })
    }

    fn unexpected(&self) -> Unexpected<'_> {
        match self {
            Self::Null => Unexpected::Unit,
            &Self::Bool(value) => Unexpected::Bool(value),
            &Self::Unsigned(value) => Unexpected::Unsigned(value),
            &Self::Signed(value) => Unexpected::Signed(value),
            &Self::Float(value) => Unexpected::Float(value),
            Self::Text(value) => Unexpected::Str(value),
            Self::List(_) => Unexpected::Seq,
            Self::Object(_) => Unexpected::Map,
        }
    }
}

/// Makes the tree, with the steps to where it is at work.
struct Grow<'t>(&'t mut Vec<Step>);

impl<'de> DeserializeSeed<'de> for Grow<'_> {
    type Value = Node<'de>;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Node<'de>, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Grow<'_> {
    type Value = Node<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("any value")
    }

    fn visit_unit<E>(self) -> Result<Node<'de>, E> {
        Ok(Node::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Node<'de>, E> {
        Ok(Node::Bool(value))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Node<'de>, E> {
        Ok(Node::Unsigned(value))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Node<'de>, E> {
        Ok(Node::Signed(value))
    }

    fn visit_f64<E>(self, value: f64) -> Result<Node<'de>, E> {
        Ok(Node::Float(value))
    }

    fn visit_borrowed_str<E>(self, value: &'de str) -> Result<Node<'de>, E> {
        Ok(Node::Text(Cow::Borrowed(value)))
    }

    fn visit_str<E>(self, value: &str) -> Result<Node<'de>, E> {
        Ok(Node::Text(Cow::Owned(value.to_string())))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<Node<'de>, A::Error> {
        let mut list = Vec::new();
        loop {
            self.0.push(Step::Element(list.len()));
            let element = elements.next_element_seed(Grow(self.0))?;
            self.0.pop();
            match element {
                Some(element) => list.push(element),
                None => return Ok(Node::List(list)),
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<Node<'de>, A::Error> {
        let mut object = Vec::new();
        while let Some(Name(name)) = members.next_key()? {
            self.0.push(Step::Member(object.len(), name.to_string()));
            object.push((name, members.next_value_seed(Grow(self.0))?));
            self.0.pop();
        }
        Ok(Node::Object(object))
    }
}

/// The name of a member, where it stands in the text unless it has escapes.
struct Name<'a>(Cow<'a, str>);

impl<'de> Deserialize<'de> for Name<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct NameVisitor;

        impl<'de> Visitor<'de> for NameVisitor {
            type Value = Name<'de>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a name")
            }

            fn visit_borrowed_str<E>(self, name: &'de str) -> Result<Name<'de>, E> {
                Ok(Name(Cow::Borrowed(name)))
            }

            fn visit_str<E>(self, name: &str) -> Result<Name<'de>, E> {
                Ok(Name(Cow::Owned(name.to_string())))
            }
        }

        deserializer.deserialize_str(NameVisitor)
    }
}

/// What is wrong with a value of the tree, and the steps to it, the last one first.
#[derive(Debug)]
struct Problem(Box<Found>);

#[derive(Debug)]
struct Found {
    reason: String,
    steps: Vec<Step>,
    /// Whether the name of the last member is at fault, and not what it holds.
    at_name: bool,
}

impl fmt::Debug for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&path([self].into_iter()))
    }
}

impl Problem {
    #[cold]
    #[inline(never)]
    fn under(mut self, step: Step) -> Self {
        self.0.steps.push(step);
        self
    }

    #[cold]
    #[inline(never)]
    fn under_member(self, index: usize, name: &str) -> Self {
        self.under(Step::Member(index, name.to_string()))
    }

    #[cold]
    #[inline(never)]
    fn at_name(mut self, index: usize, name: &str) -> Self {
        self.0.at_name = true;
        self.under_member(index, name)
    }

    #[cold]
    #[inline(never)]
    fn in_text(self, text: &str) -> Fault {
        let Found { reason, mut steps, at_name } = *self.0;
        steps.reverse();
        let mut reader = serde_json::Deserializer::from_str(text);
        // Whatever stands there, the search ends in an error, which knows where it is.
        let (line, column) = match (Seek { steps: &steps, at_name }).deserialize(&mut reader) {
            Err(error) => (error.line(), error.column()),
            Ok(()) => (1, 1),
        };
        Fault { reason, path: path(steps.iter()), line, column }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.reason)
    }
}

impl core::error::Error for Problem {}

impl de::Error for Problem {
    #[cold]
    #[inline(never)]
    fn custom<T: fmt::Display>(reason: T) -> Self {
        Self(Box::new(Found { reason: reason.to_string(), steps: Vec::new(), at_name: false }))
    }

    #[cold]
    #[inline(never)]
    fn invalid_type(unexpected: Unexpected<'_>, expected: &dyn Expected) -> Self {
        match unexpected {
            Unexpected::Unit => Self::custom(format!("invalid type: null, expected {expected}")),
            _ => Self::custom(format!("invalid type: {unexpected}, expected {expected}")),
        }
    }
}

/// Goes down the steps and fails there.
struct Seek<'s> {
    steps: &'s [Step],
    at_name: bool,
}

impl<'de> DeserializeSeed<'de> for Seek<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Seek<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("something else")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut elements: A) -> Result<(), A::Error> {
        let wanted = match self.steps.first() {
            Some(&Step::Element(index)) => index,
            _ => usize::MAX,
        };
        for _ in 0..wanted {
            if elements.next_element::<IgnoredAny>()?.is_none() {
                return Err(de::Error::custom("here"));
            }
        }
        elements.next_element_seed(Seek { steps: &self.steps[1..], ..self })?;
        Err(de::Error::custom("here"))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut members: A) -> Result<(), A::Error> {
        let wanted = match self.steps.first() {
            Some(&Step::Member(index, _)) => index,
            _ => usize::MAX,
        };
        for index in 0.. {
            if members.next_key::<IgnoredAny>()?.is_none() || (self.at_name && index == wanted && self.steps.len() == 1)
            {
                break;
            }
            if index == wanted {
                return members.next_value_seed(Seek { steps: &self.steps[1..], ..self });
            }
            members.next_value::<IgnoredAny>()?;
        }
        Err(de::Error::custom("here"))
    }
}

/// Where a value is in the tree.
struct At<'de>(&'de Node<'de>);

impl<'de> At<'de> {
    #[cold]
    #[inline(never)]
    fn refused(&self, expected: &dyn Expected) -> Problem {
        de::Error::invalid_type(self.0.unexpected(), expected)
    }

    /// What takes a list must take all of it.
    fn list<V: Visitor<'de>>(list: &'de [Node<'de>], visitor: V) -> Result<V::Value, Problem> {
        let mut elements = Elements { rest: list.iter(), count: 0 };
        let value = visitor.visit_seq(&mut elements)?;
        if elements.rest.len() == 0 { Ok(value) } else { Err(too_long(list.len(), elements.count)) }
    }
}

#[cold]
#[inline(never)]
fn too_long(length: usize, most: usize) -> Problem {
    de::Error::invalid_length(length, &format!("{most} elements").as_str())
}

fn members<'de>(object: &'de [(Cow<'de, str>, Node<'de>)]) -> Members<'de> {
    Members { rest: object.iter(), count: 0, last: None }
}

impl<'de> Deserializer<'de> for At<'de> {
    type Error = Problem;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Problem> {
        match self.0 {
            Node::Null => visitor.visit_unit(),
            &Node::Bool(value) => visitor.visit_bool(value),
            &Node::Unsigned(value) => visitor.visit_u64(value),
            &Node::Signed(value) => visitor.visit_i64(value),
            &Node::Float(value) => visitor.visit_f64(value),
            Node::Text(value) => visitor.visit_borrowed_str(value),
            Node::List(list) => Self::list(list, visitor),
            Node::Object(object) => visitor.visit_map(members(object)),
        }
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Problem> {
        if matches!(self.0, Node::Null) { visitor.visit_none() } else { visitor.visit_some(self) }
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Problem> {
        if let Node::List(list) = self.0 { Self::list(list, visitor) } else { Err(self.refused(&visitor)) }
    }

    fn deserialize_tuple<V: Visitor<'de>>(self, _: usize, visitor: V) -> Result<V::Value, Problem> {
        self.deserialize_seq(visitor)
    }

    fn deserialize_map<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Problem> {
        if let Node::Object(object) = self.0 { visitor.visit_map(members(object)) } else { Err(self.refused(&visitor)) }
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Problem> {
        self.deserialize_map(visitor)
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &'static str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Problem> {
        if let Node::Text(name) = self.0 {
            visitor.visit_enum(BorrowedStrDeserializer::new(name))
        } else {
            Err(self.refused(&"a string"))
        }
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(self, _: &'static str, visitor: V) -> Result<V::Value, Problem> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_ignored_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Problem> {
        visitor.visit_unit()
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf unit unit_struct tuple_struct identifier
    }
}

struct Elements<'de> {
    rest: slice::Iter<'de, Node<'de>>,
    count: usize,
}

impl<'de> SeqAccess<'de> for &mut Elements<'de> {
    type Error = Problem;

    fn next_element_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<Option<S::Value>, Problem> {
        let Some(element) = self.rest.next() else { return Ok(None) };
        let index = self.count;
        self.count += 1;
        seed.deserialize(At(element)).map(Some).map_err(|problem| problem.under(Step::Element(index)))
    }
}

struct Members<'de> {
    rest: slice::Iter<'de, (Cow<'de, str>, Node<'de>)>,
    count: usize,
    last: Option<&'de (Cow<'de, str>, Node<'de>)>,
}

impl<'de> MapAccess<'de> for Members<'de> {
    type Error = Problem;

    fn next_key_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<Option<S::Value>, Problem> {
        self.last = self.rest.next();
        let Some((name, _)) = self.last else { return Ok(None) };
        self.count += 1;
        let key = seed.deserialize(BorrowedStrDeserializer::<Problem>::new(name));
        key.map(Some).map_err(|problem| problem.at_name(self.count - 1, name))
    }

    fn next_value_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<S::Value, Problem> {
        let Some((name, value)) = self.last else {
            return Err(de::Error::custom("a value was asked for before its name"));
        };
        seed.deserialize(At(value)).map_err(|problem| problem.under_member(self.count - 1, name))
    }
}

/// Writes a value in serde_json's own layout, with two spaces for each level.
pub(super) fn write<T: Serialize>(value: &T) -> String {
    let mut writer = Writer { text: String::new(), level: 0 };
    match value.serialize(&mut writer) {
        Ok(()) => writer.text,
        Err(error) => unreachable!("plain data has a JSON form: {error}"),
    }
}

/// What is written so far, and within how many objects and lists that is. What does not hang on a type is not compiled anew for each.
struct Writer {
    text: String,
    level: usize,
}

impl Writer {
    #[inline(never)]
    fn word(&mut self, word: &str) {
        self.text.push_str(word);
    }

    #[inline(never)]
    fn number(&mut self, number: impl Into<Number>) {
        // Writing to a string cannot fail.
        let _ = write!(self.text, "{}", number.into());
    }

    #[inline(never)]
    fn float(&mut self, value: f64) {
        match Number::from_f64(value) {
            Some(number) => self.number(number),
            None => self.word("null"),
        }
    }

    /// A text with its escapes.
    #[inline(never)]
    fn escaped(&mut self, text: &str) {
        match serde_json::to_string(text) {
            Ok(text) => self.text.push_str(&text),
            Err(error) => unreachable!("a text has a JSON form: {error}"),
        }
    }

    /// The name of a field or of a choice, which has nothing to escape.
    #[inline(never)]
    fn name(&mut self, name: &str) {
        self.text.push('"');
        self.text.push_str(name);
        self.text.push('"');
    }

    #[inline(never)]
    fn line(&mut self) {
        self.text.push('\n');
        for _ in 0..self.level {
            self.text.push_str("  ");
        }
    }

    #[inline(never)]
    fn open(&mut self, bracket: char) -> Parts<'_> {
        self.text.push(bracket);
        self.level += 1;
        Parts { writer: self, empty: true }
    }

    fn object(&mut self) -> Parts<'_> {
        self.open('{')
    }

    fn list(&mut self) -> Parts<'_> {
        self.open('[')
    }
}

/// The members of an object or the elements of a list.
struct Parts<'w> {
    writer: &'w mut Writer,
    empty: bool,
}

impl Parts<'_> {
    /// What stands before the next part.
    #[inline(never)]
    fn next(&mut self) {
        if !self.empty {
            self.writer.text.push(',');
        }
        self.empty = false;
        self.writer.line();
    }

    #[inline(never)]
    fn member(&mut self, name: &str) {
        self.next();
        self.writer.name(name);
        self.writer.text.push_str(": ");
    }

    #[inline(never)]
    fn close(self, bracket: char) {
        self.writer.level -= 1;
        if !self.empty {
            self.writer.line();
        }
        self.writer.text.push(bracket);
    }
}

/// Why a value has no JSON form: none that is written here lacks one.
#[derive(Debug)]
struct Unwritable;

impl fmt::Display for Unwritable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("it is neither a number, a text, a list nor an object")
    }
}

impl core::error::Error for Unwritable {}

impl ser::Error for Unwritable {
    fn custom<T: fmt::Display>(_: T) -> Self {
        Self
    }
}

type Written = Result<(), Unwritable>;

impl<'w> Serializer for &'w mut Writer {
    type Ok = ();
    type Error = Unwritable;
    type SerializeSeq = Parts<'w>;
    type SerializeTuple = Parts<'w>;
    type SerializeTupleStruct = Parts<'w>;
    type SerializeTupleVariant = Impossible<(), Unwritable>;
    type SerializeMap = Parts<'w>;
    type SerializeStruct = Parts<'w>;
    type SerializeStructVariant = Impossible<(), Unwritable>;

    fn serialize_bool(self, value: bool) -> Written {
        self.word(if value { "true" } else { "false" });
        Ok(())
    }

    fn serialize_i8(self, value: i8) -> Written {
        self.serialize_i64(value.into())
    }

    fn serialize_i16(self, value: i16) -> Written {
        self.serialize_i64(value.into())
    }

    fn serialize_i32(self, value: i32) -> Written {
        self.serialize_i64(value.into())
    }

    fn serialize_i64(self, value: i64) -> Written {
        self.number(value);
        Ok(())
    }

    fn serialize_u8(self, value: u8) -> Written {
        self.serialize_u64(value.into())
    }

    fn serialize_u16(self, value: u16) -> Written {
        self.serialize_u64(value.into())
    }

    fn serialize_u32(self, value: u32) -> Written {
        self.serialize_u64(value.into())
    }

    fn serialize_u64(self, value: u64) -> Written {
        self.number(value);
        Ok(())
    }

    fn serialize_f32(self, value: f32) -> Written {
        self.serialize_f64(value.into())
    }

    fn serialize_f64(self, value: f64) -> Written {
        self.float(value);
        Ok(())
    }

    fn serialize_char(self, value: char) -> Written {
        self.serialize_str(value.encode_utf8(&mut [0; 4]))
    }

    fn serialize_str(self, value: &str) -> Written {
        self.escaped(value);
        Ok(())
    }

    fn serialize_bytes(self, _: &[u8]) -> Written {
        Err(Unwritable)
    }

    fn serialize_none(self) -> Written {
        self.serialize_unit()
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Written {
        value.serialize(self)
    }

    fn serialize_unit(self) -> Written {
        self.word("null");
        Ok(())
    }

    fn serialize_unit_struct(self, _: &'static str) -> Written {
        self.serialize_unit()
    }

    fn serialize_unit_variant(self, _: &'static str, _: u32, variant: &'static str) -> Written {
        self.name(variant);
        Ok(())
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Written {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        _: u32,
        variant: &'static str,
        value: &T,
    ) -> Written {
        let mut object = self.object();
        SerializeStruct::serialize_field(&mut object, variant, value)?;
        SerializeStruct::end(object)
    }

    fn serialize_seq(self, _: Option<usize>) -> Result<Parts<'w>, Unwritable> {
        Ok(self.list())
    }

    fn serialize_tuple(self, _: usize) -> Result<Parts<'w>, Unwritable> {
        Ok(self.list())
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Parts<'w>, Unwritable> {
        Ok(self.list())
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeTupleVariant, Unwritable> {
        Err(Unwritable)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Parts<'w>, Unwritable> {
        Ok(self.object())
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Parts<'w>, Unwritable> {
        Ok(self.object())
    }

    fn serialize_struct_variant(
        self,
        _: &'static str,
        _: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self::SerializeStructVariant, Unwritable> {
        Err(Unwritable)
    }
}

impl SerializeSeq for Parts<'_> {
    type Ok = ();
    type Error = Unwritable;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Written {
        self.next();
        value.serialize(&mut *self.writer)
    }

    fn end(self) -> Written {
        self.close(']');
        Ok(())
    }
}

impl SerializeTuple for Parts<'_> {
    type Ok = ();
    type Error = Unwritable;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Written {
        SerializeSeq::serialize_element(self, value)
    }

    fn end(self) -> Written {
        SerializeSeq::end(self)
    }
}

impl SerializeTupleStruct for Parts<'_> {
    type Ok = ();
    type Error = Unwritable;

    fn serialize_field<T: Serialize + ?Sized>(&mut self, value: &T) -> Written {
        SerializeSeq::serialize_element(self, value)
    }

    fn end(self) -> Written {
        SerializeSeq::end(self)
    }
}

impl SerializeMap for Parts<'_> {
    type Ok = ();
    type Error = Unwritable;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Written {
        self.next();
        key.serialize(&mut *self.writer)
    }

    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Written {
        self.writer.word(": ");
        value.serialize(&mut *self.writer)
    }

    fn end(self) -> Written {
        self.close('}');
        Ok(())
    }
}

impl SerializeStruct for Parts<'_> {
    type Ok = ();
    type Error = Unwritable;

    fn serialize_field<T: Serialize + ?Sized>(&mut self, name: &'static str, value: &T) -> Written {
        self.member(name);
        value.serialize(&mut *self.writer)
    }

    fn end(self) -> Written {
        self.close('}');
        Ok(())
    }
}
