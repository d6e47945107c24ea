//! A restart of the monitor: its boot number rises, its settings and its log are still there.

use stillpoint::command::CommandEncoder;
use stillpoint::decode::{Decoder, DeviceEvent};
use stillpoint_core::wire::command::{Apply, Command};
use stillpoint_core::wire::status::Reset;
use stillpoint_core::{Parameters, Settings};
use stillpoint_firmware::app::{App, Identity};
use stillpoint_firmware::memory::MemoryFlash;

const IDENTITY: Identity = Identity { device: [0; 12], board: "test", reset: Reset::PowerOn, period: 1000 };

fn parameters(window: u32) -> Parameters {
    Parameters { window, ..Parameters::at(1_000_000) }
}

/// Starts a monitor of two axes on this flash, applies the window `apply` to the second one if there is one, and
/// returns the windows that the monitor reports.
fn start(flash: &mut [u8], apply: Option<u32>) -> Vec<u32> {
    let settings = Settings::new(parameters(10)).expect("valid settings");
    let mut app: App<2, _> =
        App::new(IDENTITY, [settings; 2], MemoryFlash::with_content(flash)).expect("the flash opens");
    if let Some(window) = apply {
        let parameters = (&parameters(window)).into();
        app.receive(&CommandEncoder::new(1).encode(&Command::Apply(Apply { axis: 1, parameters })));
    }
    app.receive(&CommandEncoder::new(2).encode(&Command::Identify));
    let (mut windows, mut bytes, mut decoder) = (vec![0; 2], [0; 4096], Decoder::default());
    let count = app.transmit(&mut bytes);
    decoder.push(&bytes[..count], &mut |event| {
        if let DeviceEvent::Settings(settings) = event {
            windows[usize::from(settings.axis)] = settings.parameters.window;
        }
    });
    windows
}

#[test]
fn settings_outlive_a_restart() {
    let mut flash = vec![0xFF; 16 * 4096];
    assert_eq!(start(&mut flash, None), [10, 10]);
    assert_eq!(start(&mut flash, Some(77)), [10, 77]);
    assert_eq!(start(&mut flash, None), [10, 77]);
    // A window that breaks its rule is refused and changes nothing.
    assert_eq!(start(&mut flash, Some(u32::MAX)), [10, 77]);
    assert_eq!(start(&mut flash, None), [10, 77]);
}
