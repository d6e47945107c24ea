//! In: any value that serde can serialize. Out: its postcard bytes.
//!
//! The `postcard` crate decodes, without a panic. Its encoder (1.2.0) contains panics: the bounds checks of its
//! varint loop stay in an image built for size. Here all numbers share one loop without bounds checks, which also
//! makes the image 3 KiB smaller. A test compares both byte by byte.

use core::fmt;

use serde::ser::{self, Serialize};

use super::varint;

/// Writes a value to the front of `out`; returns its length, `None` if it does not fit.
pub(super) fn write(value: &(impl Serialize + ?Sized), out: &mut [u8]) -> Option<usize> {
    let mut writer = Writer { out, used: 0 };
    value.serialize(&mut writer).ok()?;
    Some(writer.used)
}

struct Writer<'a> {
    out: &'a mut [u8],
    used: usize,
}

/// The value does not fit, or postcard has no encoding for its type.
#[derive(Debug)]
struct Unwritable;

impl fmt::Display for Unwritable {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("the value does not fit or has no encoding")
    }
}

impl ser::StdError for Unwritable {}

impl ser::Error for Unwritable {
    fn custom<T: fmt::Display>(_: T) -> Unwritable {
        Unwritable
    }
}

type Written = Result<(), Unwritable>;

impl Writer<'_> {
    fn bytes(&mut self, bytes: &[u8]) -> Written {
        let end = self.used.checked_add(bytes.len()).ok_or(Unwritable)?;
        let free = self.out.get_mut(self.used..end).ok_or(Unwritable)?;
        free.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
        self.used = end;
        Ok(())
    }

    fn number(&mut self, value: u64) -> Written {
        if varint::push(self.out, &mut self.used, value) { Ok(()) } else { Err(Unwritable) }
    }

    fn signed(&mut self, value: i64) -> Written {
        self.number(((value << 1) ^ (value >> 63)) as u64)
    }
}

/// Methods of the serializer that write one number or nothing.
macro_rules! plain {
    ($($method:ident($($type:ty)?) = |$writer:ident $(, $value:ident)?| $write:expr;)*) => {
        $(fn $method(self $(, $value: $type)?) -> Written {
            let $writer = self;
            $write
        })*
    };
}

impl<'a> ser::Serializer for &mut Writer<'a> {
    type Ok = ();
    type Error = Unwritable;
    type SerializeSeq = Self;
    type SerializeTuple = Self;
    type SerializeTupleStruct = Self;
    type SerializeTupleVariant = Self;
    type SerializeMap = ser::Impossible<(), Unwritable>;
    type SerializeStruct = Self;
    type SerializeStructVariant = Self;

    plain! {
        serialize_bool(bool) = |writer, value| writer.bytes(&[u8::from(value)]);
        serialize_i8(i8) = |writer, value| writer.bytes(&value.to_le_bytes());
        serialize_i16(i16) = |writer, value| writer.signed(value.into());
        serialize_i32(i32) = |writer, value| writer.signed(value.into());
        serialize_i64(i64) = |writer, value| writer.signed(value);
        serialize_u8(u8) = |writer, value| writer.bytes(&[value]);
        serialize_u16(u16) = |writer, value| writer.number(value.into());
        serialize_u32(u32) = |writer, value| writer.number(value.into());
        serialize_u64(u64) = |writer, value| writer.number(value);
        serialize_f32(f32) = |writer, value| writer.bytes(&value.to_le_bytes());
        serialize_f64(f64) = |writer, value| writer.bytes(&value.to_le_bytes());
        serialize_char(char) = |writer, value| writer.serialize_str(value.encode_utf8(&mut [0; 4]));
        serialize_str(&str) = |writer, value| writer.serialize_bytes(value.as_bytes());
        serialize_none() = |writer| writer.bytes(&[0]);
        serialize_unit() = |_writer| Ok(());
        serialize_unit_struct(&'static str) = |_writer, _name| Ok(());
    }

    fn serialize_bytes(self, bytes: &[u8]) -> Written {
        self.number(bytes.len() as u64)?;
        self.bytes(bytes)
    }

    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Written {
        self.bytes(&[1])?;
        value.serialize(self)
    }

    fn serialize_unit_variant(self, _: &'static str, index: u32, _: &'static str) -> Written {
        self.number(index.into())
    }

    fn serialize_newtype_struct<T: Serialize + ?Sized>(self, _: &'static str, value: &T) -> Written {
        value.serialize(self)
    }

    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        value: &T,
    ) -> Written {
        self.number(index.into())?;
        value.serialize(self)
    }

    fn serialize_seq(self, length: Option<usize>) -> Result<Self, Unwritable> {
        self.number(length.ok_or(Unwritable)? as u64)?;
        Ok(self)
    }

    fn serialize_tuple(self, _: usize) -> Result<Self, Unwritable> {
        Ok(self)
    }

    fn serialize_tuple_struct(self, _: &'static str, _: usize) -> Result<Self, Unwritable> {
        Ok(self)
    }

    fn serialize_tuple_variant(
        self,
        _: &'static str,
        index: u32,
        _: &'static str,
        _: usize,
    ) -> Result<Self, Unwritable> {
        self.number(index.into())?;
        Ok(self)
    }

    fn serialize_map(self, _: Option<usize>) -> Result<Self::SerializeMap, Unwritable> {
        Err(Unwritable)
    }

    fn serialize_struct(self, _: &'static str, _: usize) -> Result<Self, Unwritable> {
        Ok(self)
    }

    fn serialize_struct_variant(
        self,
        name: &'static str,
        index: u32,
        variant: &'static str,
        length: usize,
    ) -> Result<Self, Unwritable> {
        self.serialize_tuple_variant(name, index, variant, length)
    }

    fn collect_str<T: fmt::Display + ?Sized>(self, _: &T) -> Written {
        Err(Unwritable)
    }

    fn is_human_readable(&self) -> bool {
        false
    }
}

/// Parts of a compound value are written one after another, without delimiters.
macro_rules! compound {
    ($($part:ident::$method:ident($($name:ty)?);)*) => {
        $(impl ser::$part for &mut Writer<'_> {
            type Ok = ();
            type Error = Unwritable;

            fn $method<T: Serialize + ?Sized>(&mut self, $(_: $name,)? value: &T) -> Written {
                value.serialize(&mut **self)
            }

            fn end(self) -> Written {
                Ok(())
            }
        })*
    };
}

compound! {
    SerializeSeq::serialize_element();
    SerializeTuple::serialize_element();
    SerializeTupleStruct::serialize_field();
    SerializeTupleVariant::serialize_field();
    SerializeStruct::serialize_field(&'static str);
    SerializeStructVariant::serialize_field(&'static str);
}
