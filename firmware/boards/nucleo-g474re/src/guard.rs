//! In: signs of life. Out: a reset when there are none, and afterwards the reason of the last reset.

use stillpoint_core::wire::status::Reset;
use stm32_metapac::iwdg::vals::{Key, Pr};
use stm32_metapac::{IWDG, PWR, RCC, TAMP};

/// Left in a backup register by [`fault`].
const MARK: u32 = 0x6661_756c;

/// The independent watchdog, on its own oscillator: 4 s, give or take a tenth.
pub struct Watchdog(());

impl Watchdog {
    /// Starts the watchdog; it can't be stopped.
    pub fn start() -> Watchdog {
        IWDG.kr().write(|kr| kr.set_key(Key::START));
        IWDG.kr().write(|kr| kr.set_key(Key::ENABLE));
        IWDG.pr().write(|pr| pr.set_pr(Pr::DIVIDE_BY128));
        IWDG.rlr().write(|rlr| rlr.set_rl(999));
        // The new period is valid when both registers have reached the slow clock domain.
        while IWDG.sr().read().0 != 0 {}
        let mut watchdog = Watchdog(());
        watchdog.feed();
        watchdog
    }

    /// Restarts the period.
    pub fn feed(&mut self) {
        IWDG.kr().write(|kr| kr.set_key(Key::RESET));
    }
}

/// Why the chip started. Clears the reason for the next start.
pub fn cause() -> Reset {
    open();
    let (flags, mark) = (RCC.csr().read(), TAMP.bkpr(0).read().0);
    RCC.csr().modify(|csr| csr.set_rmvf(true));
    TAMP.bkpr(0).write(|bkpr| bkpr.0 = 0);
    // A brown-out counts as power on. Every reset also sets the flag of the reset pin, so that is checked last.
    if flags.borrstf() {
        Reset::PowerOn
    } else if flags.iwdgrstf() || flags.wwdgrstf() {
        Reset::Watchdog
    } else if flags.sftrstf() {
        if mark == MARK { Reset::Fault } else { Reset::Software }
    } else if flags.pinrstf() {
        Reset::Pin
    } else {
        Reset::Unknown
    }
}

/// Resets the chip and marks a fault as the reason.
pub fn fault() -> ! {
    open();
    TAMP.bkpr(0).write(|bkpr| bkpr.0 = MARK);
    cortex_m::peripheral::SCB::sys_reset()
}

/// Makes the backup registers writable.
fn open() {
    RCC.apb1enr1().modify(|on| {
        on.set_pwren(true);
        on.set_rtcapben(true);
    });
    // A clock takes two cycles to arrive.
    cortex_m::asm::dsb();
    PWR.cr1().modify(|cr| cr.set_dbp(true));
}
