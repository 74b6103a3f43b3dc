//! The orchard cart's control pass in Rust: the same law as in cart-pass.c.
//!
//! One step of the compare value is 32 us, and fast PWM counts the tick of the match as well: 46 gives 1504 us.
#![no_std]

mod jackstand;

use core::sync::atomic::{AtomicI32, Ordering::Relaxed};
use jackstand::{read_count, set_compare, set_pin};

const NEUTRAL: i32 = 46;
const FULL: i32 = 62;
/// A little above what the pedal gives at rest.
const REST_COUNT: i32 = 190;
const FULL_COUNT: i32 = 828;
/// Outside of these a wire is broken or shorted.
const PLAUSIBLE: core::ops::RangeInclusive<i32> = 60..=960;
const BROKEN_PASSES: i32 = 3;
const LAMP: i32 = 5;

static BAD_PASSES: AtomicI32 = AtomicI32::new(0);

fn compare_of(count: i32) -> i32 {
    match count {
        _ if count <= REST_COUNT => NEUTRAL,
        _ if count >= FULL_COUNT => FULL,
        _ => NEUTRAL + (count - REST_COUNT) * (FULL - NEUTRAL) / (FULL_COUNT - REST_COUNT),
    }
}

#[inline(never)]
fn drive(count: i32) {
    let bad_passes = if PLAUSIBLE.contains(&count) { 0 } else { BAD_PASSES.load(Relaxed) + 1 };
    BAD_PASSES.store(bad_passes, Relaxed);
    set_pin(LAMP, bad_passes > 0);
    match bad_passes {
        0 => set_compare(compare_of(count)),
        BROKEN_PASSES.. => set_compare(NEUTRAL),
        _ => {}
    }
}

#[no_mangle]
pub extern "C" fn init() {
    set_compare(NEUTRAL);
}

#[no_mangle]
pub extern "C" fn pass() {
    drive(read_count());
}
