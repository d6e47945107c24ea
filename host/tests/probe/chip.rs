//! A chip with memory but no program, behind probe-rs's own session, core and RTT code: all but USB and the wire.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;

use probe_rs::MemoryInterface;
use probe_rs::architecture::arm::ap::CSW;
use probe_rs::architecture::arm::dp::{DpAddress, DpRegisterAddress};
use probe_rs::architecture::arm::memory::ArmMemoryInterface;
use probe_rs::architecture::arm::sequences::ArmDebugSequence;
use probe_rs::architecture::arm::{
    ArmDebugInterface, ArmError, DapAccess, FullyQualifiedApAddress, SwdSequence, SwoAccess, SwoConfig,
};
use probe_rs::probe::{DebugProbe, DebugProbeError, Probe, WireProtocol};

/// Start of the RAM of an STM32G474RE.
pub(crate) const RAM: u64 = 0x2000_0000;

/// Unit: bytes
const RAM_BYTES: usize = 128 << 10;

/// Debug registers of a Cortex-M. Source: Armv7-M Architecture Reference Manual, C1.6.2 and B3.2.6
const DHCSR: u64 = 0xE000_EDF0;
const AIRCR: u64 = 0xE000_ED0C;

/// RAM and registers of the chip.
pub(crate) struct Memory {
    pub(crate) ram: Vec<u8>,
    registers: BTreeMap<u64, u32>,
    /// Whether the wire is connected.
    pub(crate) answers: bool,
    /// Number of halts of the running chip.
    pub(crate) halts: u32,
    /// Number of system resets.
    pub(crate) resets: u32,
}

impl Memory {
    /// A word of RAM.
    pub(crate) fn word(&self, at: u64) -> u32 {
        let place = (at - RAM) as usize;
        u32::from_le_bytes(self.ram[place..place + 4].try_into().expect("four bytes"))
    }

    pub(crate) fn set(&mut self, at: u64, bytes: &[u8]) {
        let place = (at - RAM) as usize;
        self.ram[place..place + bytes.len()].copy_from_slice(bytes);
    }

    fn ram(&mut self, at: u64, count: usize) -> Option<&mut [u8]> {
        let place = usize::try_from(at.checked_sub(RAM)?).ok()?;
        self.ram.get_mut(place..place.checked_add(count)?)
    }

    fn read_register(&self, at: u64) -> u32 {
        let stored = self.registers.get(&at).copied().unwrap_or(0);
        // Registers are readable; the chip is halted after a halt request or a step.
        let halted = u32::from(stored & 6 != 0);
        if at == DHCSR { (stored & 0xFFFF) | 1 << 16 | halted << 17 } else { stored }
    }

    fn write_register(&mut self, at: u64, word: u32) {
        let halted = self.registers.get(&DHCSR).is_some_and(|stored| stored & 2 != 0);
        self.halts += u32::from(at == DHCSR && word & 2 != 0 && !halted);
        self.resets += u32::from(at == AIRCR && word & 4 != 0);
        self.registers.insert(at, word);
    }
}

/// A handle to the chip; a clone is another handle to the same chip.
#[derive(Clone)]
pub(crate) struct Chip(Arc<Mutex<Memory>>);

impl std::fmt::Debug for Chip {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str("a chip without a program")
    }
}

impl Chip {
    pub(crate) fn new() -> Chip {
        let (ram, registers) = (vec![0; RAM_BYTES], BTreeMap::new());
        Chip(Arc::new(Mutex::new(Memory { ram, registers, answers: true, halts: 0, resets: 0 })))
    }

    pub(crate) fn memory(&self) -> MutexGuard<'_, Memory> {
        self.0.lock().expect("no test panics while it holds the memory")
    }

    fn reach(&self) -> Result<MutexGuard<'_, Memory>, ArmError> {
        let memory = self.memory();
        if memory.answers { Ok(memory) } else { Err(ArmError::Other("no answer on the wire".to_owned())) }
    }

    /// Reads RAM by bytes and registers by words.
    fn read_bytes(&self, at: u64, out: &mut [u8]) -> Result<(), ArmError> {
        let mut memory = self.reach()?;
        if let Some(bytes) = memory.ram(at, out.len()) {
            out.copy_from_slice(bytes);
            return Ok(());
        }
        for (place, bytes) in (at..).step_by(4).zip(out.chunks_mut(4)) {
            bytes.copy_from_slice(&memory.read_register(place).to_le_bytes()[..bytes.len()]);
        }
        Ok(())
    }

    fn write_bytes(&self, at: u64, bytes: &[u8]) -> Result<(), ArmError> {
        let mut memory = self.reach()?;
        if let Some(place) = memory.ram(at, bytes.len()) {
            place.copy_from_slice(bytes);
            return Ok(());
        }
        for (place, word) in (at..).step_by(4).zip(bytes.as_chunks().0) {
            memory.write_register(place, u32::from_le_bytes(*word));
        }
        Ok(())
    }
}

/// Reads and writes of one width, as bytes.
macro_rules! by_bytes {
    ($read:ident, $write:ident, $word:ty) => {
        fn $read(&mut self, at: u64, out: &mut [$word]) -> Result<(), ArmError> {
            let mut bytes = vec![0; size_of_val(out)];
            self.read_bytes(at, &mut bytes)?;
            let words = bytes.as_chunks().0.iter().map(|word| <$word>::from_le_bytes(*word));
            out.iter_mut().zip(words).for_each(|(place, word)| *place = word);
            Ok(())
        }

        fn $write(&mut self, at: u64, words: &[$word]) -> Result<(), ArmError> {
            let bytes: Vec<u8> = words.iter().flat_map(|word| word.to_le_bytes()).collect();
            self.write_bytes(at, &bytes)
        }
    };
}

impl MemoryInterface<ArmError> for Chip {
    by_bytes!(read_8, write_8, u8);
    by_bytes!(read_16, write_16, u16);
    by_bytes!(read_32, write_32, u32);
    by_bytes!(read_64, write_64, u64);

    fn supports_native_64bit_access(&mut self) -> bool {
        false
    }

    fn supports_8bit_transfers(&self) -> Result<bool, ArmError> {
        Ok(true)
    }

    fn flush(&mut self) -> Result<(), ArmError> {
        Ok(())
    }
}

/// A function that no test uses.
fn missing<T>() -> Result<T, ArmError> {
    Err(ArmError::NotImplemented("this chip has memory only"))
}

impl ArmMemoryInterface for Chip {
    fn fully_qualified_address(&self) -> FullyQualifiedApAddress {
        FullyQualifiedApAddress::v1_with_default_dp(0)
    }

    fn base_address(&mut self) -> Result<u64, ArmError> {
        missing()
    }

    fn get_arm_debug_interface(&mut self) -> Result<&mut dyn ArmDebugInterface, DebugProbeError> {
        Ok(self)
    }

    fn generic_status(&mut self) -> Result<CSW, ArmError> {
        missing()
    }
}

impl ArmDebugInterface for Chip {
    fn reinitialize(&mut self) -> Result<(), ArmError> {
        Ok(())
    }

    fn access_ports(&mut self, _: DpAddress) -> Result<BTreeSet<FullyQualifiedApAddress>, ArmError> {
        Ok([self.fully_qualified_address()].into())
    }

    fn close(self: Box<Self>) -> Probe {
        Probe::new(*self)
    }

    fn select_debug_port(&mut self, _: DpAddress) -> Result<(), ArmError> {
        Ok(())
    }

    fn current_debug_port(&self) -> Option<DpAddress> {
        Some(DpAddress::Default)
    }

    fn memory_interface(
        &mut self,
        _: &FullyQualifiedApAddress,
    ) -> Result<Box<dyn ArmMemoryInterface + '_>, ArmError> {
        Ok(Box::new(self.clone()))
    }
}

impl DebugProbe for Chip {
    fn get_name(&self) -> &str {
        "a probe of the tests"
    }

    fn speed_khz(&self) -> u32 {
        1000
    }

    fn set_speed(&mut self, speed: u32) -> Result<u32, DebugProbeError> {
        Ok(speed)
    }

    fn attach(&mut self) -> Result<(), DebugProbeError> {
        Ok(())
    }

    fn detach(&mut self) -> Result<(), probe_rs::Error> {
        Ok(())
    }

    fn target_reset(&mut self) -> Result<(), DebugProbeError> {
        Ok(())
    }

    fn target_reset_assert(&mut self) -> Result<(), DebugProbeError> {
        Ok(())
    }

    fn target_reset_deassert(&mut self) -> Result<(), DebugProbeError> {
        Ok(())
    }

    fn select_protocol(&mut self, _: WireProtocol) -> Result<(), DebugProbeError> {
        Ok(())
    }

    fn active_protocol(&self) -> Option<WireProtocol> {
        Some(WireProtocol::Swd)
    }

    fn has_arm_interface(&self) -> bool {
        true
    }

    fn try_get_arm_debug_interface<'probe>(
        self: Box<Self>,
        _: Arc<dyn ArmDebugSequence>,
    ) -> Result<Box<dyn ArmDebugInterface + 'probe>, (Box<dyn DebugProbe>, ArmError)> {
        Ok(self)
    }

    fn into_probe(self: Box<Self>) -> Box<dyn DebugProbe> {
        self
    }
}

impl SwdSequence for Chip {
    fn swj_sequence(&mut self, _: u8, _: u64) -> Result<(), DebugProbeError> {
        Ok(())
    }

    fn swj_pins(&mut self, _: u32, _: u32, _: u32) -> Result<u32, DebugProbeError> {
        Ok(0)
    }
}

impl SwoAccess for Chip {
    fn enable_swo(&mut self, _: &SwoConfig) -> Result<(), ArmError> {
        missing()
    }

    fn disable_swo(&mut self) -> Result<(), ArmError> {
        missing()
    }

    fn read_swo_timeout(&mut self, _: Duration) -> Result<Vec<u8>, ArmError> {
        missing()
    }
}

#[rustfmt::skip]
impl DapAccess for Chip {
    fn read_raw_dp_register(&mut self, _: DpAddress, _: DpRegisterAddress) -> Result<u32, ArmError> { missing() }
    fn write_raw_dp_register(&mut self, _: DpAddress, _: DpRegisterAddress, _: u32) -> Result<(), ArmError> { missing() }
    fn read_raw_ap_register(&mut self, _: &FullyQualifiedApAddress, _: u64) -> Result<u32, ArmError> { missing() }
    fn write_raw_ap_register(&mut self, _: &FullyQualifiedApAddress, _: u64, _: u32) -> Result<(), ArmError> { missing() }
    fn try_dap_probe(&self) -> Option<&dyn probe_rs::architecture::arm::DapProbe> { None }
    fn try_dap_probe_mut(&mut self) -> Option<&mut dyn probe_rs::architecture::arm::DapProbe> { None }
}
