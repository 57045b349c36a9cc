// The target of one area of `calc`; a file beside this one names the area.

#[path = "../check/mod.rs"]
mod check;
#[path = "../mutate.rs"]
mod mutate;

libfuzzer_sys::fuzz_target!(|data: &[u8]| check::area(AREA, data));

libfuzzer_sys::fuzz_mutator!(|data: &mut [u8], size: usize, most: usize, seed: u32| {
    if seed % 3 == 0 {
        return libfuzzer_sys::fuzzer_mutate(data, size, most);
    }
    let changed = mutate::document(&data[..size], u64::from(seed));
    let size = changed.len().min(most).min(data.len());
    data[..size].copy_from_slice(&changed[..size]);
    size
});
