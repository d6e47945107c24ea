//! In: connections. Out: one warning if any of them leaves this computer as plain text.

use std::sync::Once;

use super::output::notify;
use crate::source::Connection;

/// Said once, however many lines there are and however often they are opened.
static WARNED: Once = Once::new();

/// Warns if a connection can be read on the way.
pub(super) fn warn(place: &str, connection: &Connection) {
    if connection.is_plain_and_remote {
        WARNED.call_once(|| {
            notify(format_args!(
                "{place}: nothing on this line is encrypted or signed; outside a network that you trust, lead it through an SSH \
                tunnel or a VPN"
            ));
        });
    }
}
