//! In: command and feedback of three axes. Out: frames on the serial line, moves on flash, an alarm lamp.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(not(target_os = "none"))]
fn main() {
    println!("this image runs on a NUCLEO-G474RE: see firmware/BOARDS.md");
}

#[cfg(target_os = "none")]
mod image {
    use cortex_m_rt::{ExceptionFrame, entry, exception};
    use stillpoint_core::wire::status::Reset;
    use stillpoint_core::{Parameters, Settings};
    use stillpoint_firmware::app::{App, Identity};
    use stillpoint_firmware::store::Store;
    use stillpoint_nucleo_g474re::guard::{self, Watchdog};
    use stillpoint_nucleo_g474re::nor::Nor;
    use stillpoint_nucleo_g474re::pins::{self, Output};
    use stillpoint_nucleo_g474re::spi::Spi;
    use stillpoint_nucleo_g474re::taps::{self, AXES};
    use stillpoint_nucleo_g474re::ticks::{PERIOD, TICKS_PER_SECOND, Ticks};
    use stillpoint_nucleo_g474re::uart::Uart;
    use stillpoint_nucleo_g474re::{clock, rtt, uart};

    type Monitor = App<AXES, Nor<Spi>>;

    #[entry]
    fn main() -> ! {
        let watchdog = Watchdog::start();
        clock::start();
        // Lit until the monitor runs.
        let lamp = pins::a(5).output(true);
        let reset = guard::cause();
        if let Some(store) = open() {
            run(reset, store, watchdog, lamp);
        }
        defmt::error!("no monitor: the watchdog starts it over");
        loop {
            cortex_m::asm::wfi();
        }
    }

    /// Finds the flash chip and opens it. Not inlined, so that its stack is free again afterwards.
    #[inline(never)]
    fn open() -> Option<Store<Nor<Spi>>> {
        let flash = Nor::find(Spi::start()).inspect_err(|_| defmt::error!("no flash chip on SPI2")).ok()?;
        defmt::info!("{} axes, flash of {} bytes, {} bit/s", AXES, flash.bytes(), uart::RATE);
        Store::open(flash).inspect_err(|_| defmt::error!("the log does not open")).ok()
    }

    /// The unique number of the chip.
    fn device() -> [u8; 12] {
        let words =
            core::array::from_fn::<[u8; 4], 3, _>(|place| stm32_metapac::UID.uid(place).read().to_le_bytes());
        let mut device = [0; 12];
        device.iter_mut().zip(words.iter().flatten()).for_each(|(byte, word)| *byte = *word);
        device
    }

    fn run(reset: Reset, store: Store<Nor<Spi>>, watchdog: Watchdog, lamp: Output) {
        let parameters = Parameters { ticks_per_second: TICKS_PER_SECOND, ..Parameters::at(1_000_000) };
        let Ok(settings) = Settings::new(parameters) else { return };
        let identity = Identity { device: device(), board: "nucleo-g474re", reset, period: PERIOD };
        Monitor::run(identity, [settings; AXES], store, |monitor| serve(monitor, watchdog, lamp));
    }

    /// Handles one tick and the serial line in turn, so that neither waits long for the other.
    ///
    /// The alarm output is a lamp and must not lead to a drive.
    #[inline(never)]
    fn serve(monitor: &mut Monitor, mut watchdog: Watchdog, mut lamp: Output) {
        taps::start();
        let (Some(mut ticks), Some(mut uart)) = (Ticks::start(), Uart::start()) else { return };
        loop {
            if let Some(tick) = ticks.pop() {
                monitor.sample(tick.time(), &tick.raw());
                lamp.set(monitor.is_lit());
                watchdog.feed();
            }
            if let Some(byte) = uart.read().or_else(rtt::command_byte) {
                monitor.receive(&[byte]);
            }
            monitor.idle();
            let mut byte = [0];
            while uart.has_room() && monitor.transmit(&mut byte) == 1 {
                uart.write(byte[0]);
                rtt::frame_byte(byte[0]);
            }
        }
    }

    // Safety: it uses nothing of the interrupted code: it leaves its mark and resets the chip.
    #[exception]
    unsafe fn HardFault(_: &ExceptionFrame) -> ! {
        guard::fault()
    }

    #[panic_handler]
    fn panic(_: &core::panic::PanicInfo) -> ! {
        guard::fault()
    }
}
