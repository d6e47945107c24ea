//! In: a panic. Out: its message, and an emulator that ends with a failure.

use core::panic::PanicInfo;

use cortex_m_semihosting::{debug, hprintln};

#[panic_handler]
fn panic(info: &PanicInfo) -> ! {
    hprintln!("{}", info);
    debug::exit(debug::EXIT_FAILURE);
    loop {}
}
