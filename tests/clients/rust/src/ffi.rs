//! What faultloom.h declares, as far as this program needs it.
use std::ffi::{c_char, c_void};

#[repr(C)]
pub struct Model {
    _private: [u8; 0],
}
#[repr(C)]
pub struct Text {
    _private: [u8; 0],
}
#[repr(C)]
pub struct Error {
    _private: [u8; 0],
}
pub type ProgressFn = Option<unsafe extern "C" fn(f64, *mut c_void) -> i32>;
pub type Ask = unsafe extern "C" fn(
    *const Model,
    *const c_char,
    usize,
    *const c_char,
    usize,
    ProgressFn,
    *mut c_void,
    *mut *mut Text,
    *mut *mut Error,
) -> i32;

#[link(name = "faultloom")]
extern "C" {
    pub fn faultloom_abi_version() -> u32;
    pub fn faultloom_version() -> *const c_char;
    pub fn faultloom_status_name(status: i32) -> *const c_char;
    pub fn faultloom_error_code(error: *const Error) -> i32;
    pub fn faultloom_error_message(error: *const Error) -> *const c_char;
    pub fn faultloom_error_pointer(error: *const Error) -> *const c_char;
    pub fn faultloom_error_details(error: *const Error) -> *const c_char;
    pub fn faultloom_error_free(error: *mut Error);
    pub fn faultloom_text_data(text: *const Text) -> *const c_char;
    pub fn faultloom_text_size(text: *const Text) -> usize;
    pub fn faultloom_text_free(text: *mut Text);
    pub fn faultloom_model_from_json(
        vehicle: *const c_char,
        vehicle_size: usize,
        kinds: *const c_char,
        kinds_size: usize,
        rates: *const c_char,
        rates_size: usize,
        instruments: *const c_char,
        instruments_size: usize,
        cautions: *const c_char,
        cautions_size: usize,
        progress: ProgressFn,
        user: *mut c_void,
        model: *mut *mut Model,
        error: *mut *mut Error,
    ) -> i32;
    pub fn faultloom_model_free(model: *mut Model);
    pub fn faultloom_terminal_count(
        model: *const Model,
        count: *mut usize,
        error: *mut *mut Error,
    ) -> i32;
    pub fn faultloom_terminal_name(
        model: *const Model,
        index: usize,
        name: *mut *const c_char,
        error: *mut *mut Error,
    ) -> i32;
    pub fn faultloom_terminal_volts(
        model: *const Model,
        situation: *const c_char,
        situation_size: usize,
        volts: *mut f64,
        capacity: usize,
        needed: *mut usize,
        error: *mut *mut Error,
    ) -> i32;
    pub fn faultloom_mode_count(
        model: *const Model,
        count: *mut usize,
        error: *mut *mut Error,
    ) -> i32;
    pub fn faultloom_mode_name(
        model: *const Model,
        index: usize,
        name: *mut *const c_char,
        error: *mut *mut Error,
    ) -> i32;
    pub fn faultloom_mode_posteriors(
        model: *const Model,
        job: *const c_char,
        job_size: usize,
        progress: ProgressFn,
        user: *mut c_void,
        posteriors: *mut f64,
        capacity: usize,
        needed: *mut usize,
        error: *mut *mut Error,
    ) -> i32;
    pub fn faultloom_rank(
        model: *const Model,
        job: *const c_char,
        job_size: usize,
        options: *const c_char,
        options_size: usize,
        progress: ProgressFn,
        user: *mut c_void,
        ranking: *mut *mut Text,
        error: *mut *mut Error,
    ) -> i32;
    pub fn faultloom_next_step(
        model: *const Model,
        job: *const c_char,
        job_size: usize,
        options: *const c_char,
        options_size: usize,
        progress: ProgressFn,
        user: *mut c_void,
        step: *mut *mut Text,
        error: *mut *mut Error,
    ) -> i32;
}
