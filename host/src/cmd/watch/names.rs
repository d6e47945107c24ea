//! In: what people call a monitor and its axes. Out: name, unit and scale of an axis by its number.

use std::collections::BTreeMap;

use crate::store::devices::Axis;

/// Name of a unit and the counts in one.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Scale {
    pub(super) unit: String,
    pub(super) counts_per_unit: f64,
}

/// A source, and what its monitor and axes are called.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct WatchedSource {
    pub(super) source: String,
    /// Name of the monitor; none where only one is watched.
    pub(super) device: Option<String>,
    /// By number: name, if it has one, and scale.
    pub(super) axes: BTreeMap<u8, (Option<String>, Scale)>,
    /// Of the other axes.
    pub(super) scale: Scale,
}

impl WatchedSource {
    /// The name of an axis, behind that of its monitor where there are several.
    pub(super) fn axis_name(&self, axis: u8) -> String {
        let name = self.axes.get(&axis).and_then(|(name, _)| name.clone());
        let name = name.unwrap_or_else(|| format!("axis {axis}"));
        match &self.device {
            Some(device) => format!("{device}/{name}"),
            None => name,
        }
    }

    /// The scale of an axis.
    pub(super) fn scale(&self, axis: u8) -> &Scale {
        self.axes.get(&axis).map_or(&self.scale, |(_, scale)| scale)
    }

    /// A text about the monitor, behind its name where there are several.
    pub(super) fn text(&self, text: &str) -> String {
        match &self.device {
            Some(device) => format!("{device}: {text}"),
            None => text.to_owned(),
        }
    }

    /// The axes, as the store names them.
    pub(super) fn stored_axes(&self) -> Vec<Axis> {
        let axis = |(axis, (_, scale)): (&u8, &(Option<String>, Scale))| Axis {
            axis: *axis,
            name: self.axis_name(*axis),
            unit: scale.unit.clone(),
            counts_per_unit: scale.counts_per_unit,
            window: None,
            source: self.source.clone(),
        };
        self.axes.iter().map(axis).collect()
    }
}
