//! The reference job through the C interface, by plain declarations. See ../README.md for what is written.
mod ffi;

use std::ffi::{c_char, c_void, CStr};
use std::fmt::Write as _;
use std::path::Path;
use std::{env, fs, ptr, slice};

/// Why a call failed.
#[derive(Debug)]
struct Refused {
    status: i32,
    name: String,
    message: String,
    pointer: String,
    details: String,
}

/// A text that the library owns, copied.
unsafe fn copied(text: *const c_char) -> String {
    CStr::from_ptr(text)
        .to_str()
        .expect("texts are UTF-8")
        .to_owned()
}

/// Runs a call that takes its error last; the error is turned into `Refused` and freed.
fn checked(call: impl FnOnce(*mut *mut ffi::Error) -> i32) -> Result<(), Refused> {
    let mut error = ptr::null_mut();
    let status = call(&mut error);
    if status == 0 {
        return Ok(());
    }
    unsafe {
        let refused = Refused {
            status: ffi::faultloom_error_code(error),
            name: copied(ffi::faultloom_status_name(status)),
            message: copied(ffi::faultloom_error_message(error)),
            pointer: copied(ffi::faultloom_error_pointer(error)),
            details: copied(ffi::faultloom_error_details(error)),
        };
        ffi::faultloom_error_free(error);
        Err(refused)
    }
}

struct Model(*mut ffi::Model);

impl Drop for Model {
    fn drop(&mut self) {
        unsafe { ffi::faultloom_model_free(self.0) }
    }
}

/// Notes what it is told and says stop at call number `stop_at`, if that is not 0.
#[derive(Default)]
struct Watcher {
    shares: Vec<f64>,
    stop_at: usize,
}

unsafe extern "C" fn watch(share: f64, user: *mut c_void) -> i32 {
    let watcher = &mut *user.cast::<Watcher>();
    watcher.shares.push(share);
    i32::from(watcher.shares.len() == watcher.stop_at)
}

fn load(vehicle: Option<&[u8]>) -> Result<Model, Refused> {
    let (data, size) = vehicle.map_or((ptr::null(), 0), |text| (text.as_ptr().cast(), text.len()));
    let none = ptr::null();
    let mut model = ptr::null_mut();
    checked(|error| unsafe {
        ffi::faultloom_model_from_json(
            data,
            size,
            none,
            0,
            none,
            0,
            none,
            0,
            none,
            0,
            None,
            ptr::null_mut(),
            &mut model,
            error,
        )
    })?;
    Ok(Model(model))
}

impl Model {
    fn ask(
        &self,
        function: ffi::Ask,
        job: &[u8],
        options: &str,
        watcher: Option<&mut Watcher>,
    ) -> Result<Vec<u8>, Refused> {
        let mut text = ptr::null_mut();
        let (progress, user): (ffi::ProgressFn, *mut c_void) = match watcher {
            Some(watcher) => (Some(watch), ptr::from_mut(watcher).cast()),
            None => (None, ptr::null_mut()),
        };
        checked(|error| unsafe {
            function(
                self.0,
                job.as_ptr().cast(),
                job.len(),
                options.as_ptr().cast(),
                options.len(),
                progress,
                user,
                &mut text,
                error,
            )
        })?;
        unsafe {
            let data = ffi::faultloom_text_data(text).cast::<u8>();
            let bytes = slice::from_raw_parts(data, ffi::faultloom_text_size(text)).to_vec();
            ffi::faultloom_text_free(text);
            Ok(bytes)
        }
    }

    fn names(&self) -> Result<String, Refused> {
        let (mut count, mut first, mut last) = (0, ptr::null(), ptr::null());
        let mut lines = String::new();
        unsafe {
            checked(|error| ffi::faultloom_terminal_count(self.0, &mut count, error))?;
            checked(|error| ffi::faultloom_terminal_name(self.0, 0, &mut first, error))?;
            checked(|error| ffi::faultloom_terminal_name(self.0, count - 1, &mut last, error))?;
            let _ = writeln!(
                lines,
                "terminals {count} {} {}",
                copied(first),
                copied(last)
            );
            checked(|error| ffi::faultloom_mode_count(self.0, &mut count, error))?;
            checked(|error| ffi::faultloom_mode_name(self.0, 0, &mut first, error))?;
            checked(|error| ffi::faultloom_mode_name(self.0, count - 1, &mut last, error))?;
            let _ = writeln!(lines, "modes {count} {} {}", copied(first), copied(last));
        }
        Ok(lines)
    }

    fn terminal_volts(&self, situation: &str) -> Result<Vec<f64>, Refused> {
        let (text, size) = (situation.as_ptr().cast(), situation.len());
        all_of(|values, capacity, needed, error| unsafe {
            ffi::faultloom_terminal_volts(self.0, text, size, values, capacity, needed, error)
        })
    }

    fn mode_posteriors(&self, job: &[u8]) -> Result<Vec<f64>, Refused> {
        let (text, size) = (job.as_ptr().cast(), job.len());
        let user = ptr::null_mut();
        all_of(|values, capacity, needed, error| unsafe {
            ffi::faultloom_mode_posteriors(
                self.0, text, size, None, user, values, capacity, needed, error,
            )
        })
    }
}

/// All elements of an array function.
fn all_of(
    call: impl Fn(*mut f64, usize, *mut usize, *mut *mut ffi::Error) -> i32,
) -> Result<Vec<f64>, Refused> {
    let mut needed = 0;
    checked(|error| call(ptr::null_mut(), 0, &mut needed, error))?;
    let mut values = vec![0.0; needed];
    checked(|error| call(values.as_mut_ptr(), values.len(), &mut needed, error))?;
    Ok(values)
}

fn numbers(name: &str, values: &[f64]) -> String {
    let words: Vec<String> = values.iter().map(f64::to_string).collect();
    format!("{name} {}\n", words.join(" "))
}

fn refusal<T>(result: Result<T, Refused>) -> Refused {
    result.err().expect("a call that must fail did not")
}

fn main() -> Result<(), Refused> {
    let arguments: Vec<String> = env::args().collect();
    let read = |index: usize| fs::read(&arguments[index]).expect("the file can be read");
    let write = |name: &str, bytes: &[u8]| {
        fs::write(Path::new(&arguments[4]).join(name), bytes).expect("the folder can be written")
    };
    let (vehicle, job, broken) = (read(1), read(2), read(3));
    let model = load(Some(&vehicle))?;
    let version = unsafe { copied(ffi::faultloom_version()) };
    let mut facts = format!("version {version}\nabi {}\n", unsafe {
        ffi::faultloom_abi_version()
    });
    facts += &model.names()?;
    facts += &numbers("volts", &model.terminal_volts(r#"{"state":{"key":"on"}}"#)?);
    facts += &numbers("posteriors", &model.mode_posteriors(&job)?);

    let options = r#"{"top":10,"budget_sets":500}"#;
    write(
        "ranking.json",
        &model.ask(ffi::faultloom_rank, &job, options, None)?,
    );
    let options = r#"{"alternatives":1}"#;
    let mut patient = Watcher::default();
    write(
        "step.json",
        &model.ask(ffi::faultloom_next_step, &job, options, Some(&mut patient))?,
    );
    facts += &numbers("shares", &patient.shares);
    let mut impatient = Watcher {
        stop_at: 3,
        ..Watcher::default()
    };
    let stopped = refusal(model.ask(
        ffi::faultloom_next_step,
        &job,
        options,
        Some(&mut impatient),
    ));
    let _ = writeln!(
        facts,
        "cancelled {} {}",
        stopped.status,
        impatient.shares.len()
    );

    let problem = refusal(load(Some(&broken)));
    let _ = writeln!(
        facts,
        "error {} {} {}",
        problem.status, problem.name, problem.pointer
    );
    let _ = writeln!(facts, "message {}", problem.message);
    write("details.json", problem.details.as_bytes());
    let missing = refusal(load(None));
    let _ = writeln!(facts, "missing {} {}", missing.status, missing.message);
    write("facts.txt", facts.as_bytes());
    Ok(())
}
