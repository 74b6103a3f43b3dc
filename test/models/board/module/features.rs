//! What Rust brings along: its standard library with vectors, texts, trees and boxes that live on a heap, dynamic dispatch,
//! closures, checked arithmetic, floats, panics.
#[path = "../../../../scenarios/orchard-cart/firmware/jackstand.rs"]
mod jackstand;

use jackstand::{fail, print, read_byte, read_count, set_compare};
use std::cell::RefCell;
use std::collections::BTreeMap;

trait Law {
    fn of(&self, count: i32) -> i32;
}
struct Slope(i32);
impl Law for Slope {
    fn of(&self, count: i32) -> i32 {
        count * self.0 / 16
    }
}
struct Level;
impl Law for Level {
    fn of(&self, _: i32) -> i32 {
        46
    }
}

#[derive(Default)]
struct Cart {
    laws: Vec<Box<dyn Law>>,
    seen: BTreeMap<i32, u32>,
    log: Vec<String>,
    heard: String,
    mean: f64,
}

thread_local! {
    static CART: RefCell<Cart> = RefCell::default();
}

#[no_mangle]
pub extern "C" fn init() {
    std::panic::set_hook(Box::new(|info| fail(&info.to_string())));
    CART.with(|cart| {
        let mut cart = cart.borrow_mut();
        cart.laws.push(Box::new(Slope(5)));
        cart.laws.push(Box::new(Level));
    });
}

#[inline(never)]
fn checked(cart: &mut Cart, count: i32) -> i32 {
    let steps = [1, 2, 3, 5, 8];
    // Beyond the list, this panics.
    steps[count as usize / 200] * cart.laws.len() as i32
}

#[inline(never)]
fn logged(cart: &mut Cart, count: i32) {
    cart.log.push(format!("{count}:{:.3}", cart.mean));
    if cart.log.len() > 20 {
        cart.log.clear();
    }
    // A heap that grows beyond what the program began with, for a while.
    let wide: Vec<u32> = (0..count as u32 * 100).map(|value| value.wrapping_mul(2_654_435_761)).collect();
    print(&format!("{} {}\n", cart.log.join(","), wide.iter().rev().take(3).fold(0, |sum, value| sum ^ value)));
}

#[no_mangle]
pub extern "C" fn pass() {
    CART.with(|cart| {
        let cart = &mut *cart.borrow_mut();
        let count = read_count();
        while let Some(byte) = read_byte() {
            cart.heard.push(byte as char);
        }
        *cart.seen.entry(count / 100).or_insert(0) += 1;
        cart.mean += (count as f64 - cart.mean) / 8.0;
        logged(cart, count);
        print(&format!("{:?} {}\n", cart.seen, cart.heard.to_uppercase()));
        let law = &cart.laws[count as usize % cart.laws.len()];
        let compare = law.of(count);
        set_compare(compare + checked(cart, count));
    });
}
