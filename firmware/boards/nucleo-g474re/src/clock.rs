//! In: the board's 24 MHz crystal. Out: 144 MHz for the core, the buses and all timers.
//!
//! 144 MHz, not the 170 MHz the chip can reach: a multiple of the crystal frequency, divisible by the sampling
//! rate, the line rate and 1 MHz without remainder, and no boost of the core voltage. The start waits for the crystal
//! without end: on the internal oscillator all times would be up to 1 % wrong.

use stm32_metapac::flash::vals::Latency;
use stm32_metapac::rcc::vals::{Hpre, Pllm, Plln, Pllr, Pllsrc, Sw};
use stm32_metapac::{FLASH, RCC};

/// Frequency of the core, the buses and the timers. Unit: Hz
pub const CORE: u32 = 144_000_000;

/// Switches to the crystal. The watchdog runs already, so a dead crystal shows as a reset every few seconds.
pub fn start() {
    FLASH.acr().modify(|acr| {
        acr.set_latency(Latency::WS4);
        acr.set_prften(true);
    });
    while FLASH.acr().read().latency() != Latency::WS4 {}
    RCC.cr().modify(|cr| cr.set_hseon(true));
    while !RCC.cr().read().hserdy() {}
    // 24 MHz / 6 × 72 / 2.
    RCC.pllcfgr().write(|pll| {
        pll.set_pllsrc(Pllsrc::HSE);
        pll.set_pllm(Pllm::DIV6);
        pll.set_plln(Plln::MUL72);
        pll.set_pllr(Pllr::DIV2);
        pll.set_pllren(true);
    });
    RCC.cr().modify(|cr| cr.set_pllon(true));
    while !RCC.cr().read().pllrdy() {}
    // Half speed for at least 1 µs, as the reference manual requires above 80 MHz.
    RCC.cfgr().modify(|cfgr| cfgr.set_hpre(Hpre::DIV2));
    RCC.cfgr().modify(|cfgr| cfgr.set_sw(Sw::PLL1_R));
    while RCC.cfgr().read().sws() != Sw::PLL1_R {}
    cortex_m::asm::delay(CORE / 1_000_000);
    RCC.cfgr().modify(|cfgr| cfgr.set_hpre(Hpre::DIV1));
    enable();
}

/// Enables the clocks of all peripherals in use.
fn enable() {
    RCC.ahb2enr().modify(|on| {
        on.set_gpioaen(true);
        on.set_gpioben(true);
        on.set_gpiocen(true);
    });
    RCC.apb1enr1().modify(|on| {
        on.set_tim2en(true);
        on.set_tim3en(true);
        on.set_tim4en(true);
        on.set_tim5en(true);
        on.set_spi2en(true);
    });
    RCC.apb1enr2().modify(|on| on.set_lpuart1en(true));
    RCC.apb2enr().modify(|on| {
        on.set_tim1en(true);
        on.set_tim8en(true);
        on.set_tim15en(true);
        on.set_tim20en(true);
    });
    // A clock takes two cycles to arrive.
    cortex_m::asm::dsb();
}
