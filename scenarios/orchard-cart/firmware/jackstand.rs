//! What a module of firmware logic in Rust has of its board. Put it beside your own file, and name it there: `mod jackstand;`
//!
//!     rustc --target wasm32-unknown-unknown --edition 2021 --crate-type cdylib -O -C panic=abort -C strip=debuginfo \
//!         -C link-arg=-zstack-size=4096 -o cart.wasm cart.rs
//!
//! Yours are `init` (may be left out), called once when the program starts, and `pass`, called once each control pass. Both
//! must come back: `#[no_mangle] pub extern "C" fn pass() { ... }`.
#![allow(dead_code)]

#[link(wasm_import_module = "jackstand")]
extern "C" {
    #[link_name = "read_count"]
    fn given_read_count() -> i32;
    #[link_name = "set_compare"]
    fn given_set_compare(compare: i32);
    #[link_name = "read_pin"]
    fn given_read_pin(pin: i32) -> i32;
    #[link_name = "set_pin"]
    fn given_set_pin(pin: i32, level: i32);
    #[link_name = "read_pulse"]
    fn given_read_pulse() -> i32;
    #[link_name = "time_us"]
    fn given_time_us() -> u32;
    #[link_name = "print"]
    fn given_print(text: *const u8, length: i32);
    #[link_name = "read_byte"]
    fn given_read_byte() -> i32;
    #[link_name = "fail"]
    fn given_fail(reason: *const u8, length: i32) -> !;
}

/// The count of the conversion that this pass began with; 0 before the first.
#[inline(always)]
pub fn read_count() -> i32 {
    unsafe { given_read_count() }
}
/// Stores the compare value of the timer whose output the controllers listen to.
#[inline(always)]
pub fn set_compare(compare: i32) {
    unsafe { given_set_compare(compare) }
}
/// Whether the pin is high; pins have the numbers 0 to 15.
#[inline(always)]
pub fn read_pin(pin: i32) -> bool {
    unsafe { given_read_pin(pin) != 0 }
}
/// Makes a pin high or low.
#[inline(always)]
pub fn set_pin(pin: i32, is_high: bool) {
    unsafe { given_set_pin(pin, is_high as i32) }
}
/// Width of the latest pulse of the radio receiver in microseconds; 0 where there is none.
#[inline(always)]
pub fn read_pulse() -> i32 {
    unsafe { given_read_pulse() }
}
/// Microseconds since the program started; after 71 minutes it begins again at 0.
#[inline(always)]
pub fn time_us() -> u32 {
    unsafe { given_time_us() }
}
/// Sends a text out of the serial port.
#[inline(always)]
pub fn print(text: &str) {
    unsafe { given_print(text.as_ptr(), text.len() as i32) }
}
/// The next byte that has come in over the serial port.
#[inline(always)]
pub fn read_byte() -> Option<u8> {
    u8::try_from(unsafe { given_read_byte() }).ok()
}
/// Breaks the program off; a finding tells where, with this as its reason.
#[inline(always)]
pub fn fail(reason: &str) -> ! {
    unsafe { given_fail(reason.as_ptr(), reason.len() as i32) }
}

/// A text of so many bytes at most, for numbers: `write!(text, "{count}\n")`, then `print(text.as_str())`.
pub struct Text<const MOST: usize> {
    bytes: [u8; MOST],
    length: usize,
}

impl<const MOST: usize> Text<MOST> {
    pub const fn new() -> Self {
        Text { bytes: [0; MOST], length: 0 }
    }
    pub fn as_str(&self) -> &str {
        // What is cut off is cut between two characters.
        unsafe { core::str::from_utf8_unchecked(&self.bytes[..self.length]) }
    }
}

impl<const MOST: usize> core::fmt::Write for Text<MOST> {
    fn write_str(&mut self, more: &str) -> core::fmt::Result {
        for character in more.chars() {
            let end = self.length + character.len_utf8();
            if end > MOST {
                return Err(core::fmt::Error);
            }
            character.encode_utf8(&mut self.bytes[self.length..end]);
            self.length = end;
        }
        Ok(())
    }
}

/// What a panic says goes into the finding. With the standard library, build with `--cfg std` and set a hook in its place:
/// `std::panic::set_hook(Box::new(|info| jackstand::fail(&info.to_string())))`.
#[cfg(not(std))]
#[panic_handler]
fn panic(info: &core::panic::PanicInfo) -> ! {
    let mut text = Text::<200>::new();
    let _ = core::fmt::Write::write_fmt(&mut text, format_args!("{info}"));
    fail(text.as_str())
}
