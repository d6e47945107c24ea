//! In: a row of any output. Out: its fields: name, unit, meaning and value, from which every format is made.

use serde::{Serialize, Serializer};

/// One field of rows of the type `R`. A table of fields is the one declaration from which JSON, CSV, Parquet, text and
/// HTML are written.
#[derive(Debug)]
pub struct Field<R> {
    /// Name in JSON, CSV and Parquet. A contract: other tools read it.
    pub name: &'static str,
    /// Unit; `unit` stands for the unit of the axis, `1` for a plain number; empty for text.
    pub unit: &'static str,
    /// What it is, in a sentence.
    pub meaning: &'static str,
    /// What every row holds there.
    pub form: Form,
    /// Reads it from a row.
    pub value: for<'a> fn(&'a R) -> Value<'a>,
    /// How tables for people show it; none if they do not show it.
    pub column: Option<Column>,
}

/// The type of a field, the same in every row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A name or words.
    Text,
    /// A whole number.
    Whole,
    /// A number.
    Number,
    /// A list of windows, each with a settling time.
    Curve,
}

/// Half-width of a window, and the settling time for it; none if the move did not settle there.
pub type WindowSettling = (f64, Option<f64>);

/// What a field of one row holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value<'a> {
    /// Text; none where nothing is known.
    Text(Option<&'a str>),
    /// A whole number; none where there is none.
    Whole(Option<i64>),
    /// A finite number; none where there is none.
    Number(Option<f64>),
    /// Windows, the widest first.
    Curve(&'a [WindowSettling]),
}

impl Serialize for Value<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Value::Text(text) => text.serialize(serializer),
            Value::Whole(number) => number.serialize(serializer),
            Value::Number(number) => number.serialize(serializer),
            Value::Curve(points) => points.serialize(serializer),
        }
    }
}

/// How a field stands in tables for people.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// Heading without its unit; line breaks as on a terminal.
    pub title: &'static str,
    /// Columns are dropped on a narrow terminal from the highest number down; 0 never.
    pub spare: u8,
    /// Unit and decimals of its numbers.
    pub decimals: Decimals,
}

impl Column {
    /// A column under this title.
    pub const fn new(title: &'static str, spare: u8, decimals: Decimals) -> Column {
        Column { title, spare, decimals }
    }
}

/// The unit and the decimals of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decimals {
    /// Text, or a whole number without a unit.
    Plain,
    /// Seconds with three decimals.
    Seconds,
    /// Milliseconds with ± 2u; two significant digits of 2u are shown.
    Uncertainty,
    /// Milliseconds with as many decimals as the settling time of the same move.
    Milliseconds,
    /// A length with the decimals that resolve one feedback count.
    Count,
    /// A mean length: one decimal beyond the count, since a mean over many samples resolves it.
    Mean,
}

impl Decimals {
    /// The unit of the column; `{unit}` stands for that of the axis.
    pub const fn unit(self) -> &'static str {
        match self {
            Decimals::Plain => "",
            Decimals::Seconds => "s",
            Decimals::Uncertainty => "ms ± 2u",
            Decimals::Milliseconds => "ms",
            Decimals::Count | Decimals::Mean => "{unit}",
        }
    }
}

/// A type that a field may have.
pub trait FieldType {
    /// What every value of the type is.
    const FORM: Form;

    /// The value.
    fn value(&self) -> Value<'_>;
}

impl FieldType for String {
    const FORM: Form = Form::Text;

    fn value(&self) -> Value<'_> {
        Value::Text(Some(self))
    }
}

impl FieldType for Option<String> {
    const FORM: Form = Form::Text;

    fn value(&self) -> Value<'_> {
        Value::Text(self.as_deref())
    }
}

impl FieldType for u32 {
    const FORM: Form = Form::Whole;

    fn value(&self) -> Value<'_> {
        Value::Whole(Some(i64::from(*self)))
    }
}

impl FieldType for Option<u32> {
    const FORM: Form = Form::Whole;

    fn value(&self) -> Value<'_> {
        Value::Whole(self.map(i64::from))
    }
}

impl FieldType for i64 {
    const FORM: Form = Form::Whole;

    fn value(&self) -> Value<'_> {
        Value::Whole(Some(*self))
    }
}

impl FieldType for f64 {
    const FORM: Form = Form::Number;

    fn value(&self) -> Value<'_> {
        Value::Number(Some(*self).filter(|number| number.is_finite()))
    }
}

impl FieldType for Option<f64> {
    const FORM: Form = Form::Number;

    fn value(&self) -> Value<'_> {
        Value::Number(self.filter(|number| number.is_finite()))
    }
}

impl FieldType for Vec<WindowSettling> {
    const FORM: Form = Form::Curve;

    fn value(&self) -> Value<'_> {
        Value::Curve(self)
    }
}
