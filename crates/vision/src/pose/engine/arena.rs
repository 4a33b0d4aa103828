//! One store of working memory for all models.
//!
//! ONNX Runtime gives every model a store of its own for what lies between
//! its layers, and lets each grow in powers of two. The models of one camera
//! run one after the other, so one store serves all: its size is that of the
//! largest, not the sum (`docs/speed.md`). Two cameras share it under the
//! library's lock. `ort` has no call for this.

use std::ptr;

use ort::AsPointer;
use ort::environment::Environment;
use ort::memory::{AllocationDevice, AllocatorType, MemoryInfo, MemoryType};

/// A block as large as asked for, not the next power of two.
const AS_ASKED: std::ffi::c_int = 1;
/// ONNX Runtime's own default for what is not said here.
const DEFAULT: std::ffi::c_int = -1;

/// Makes the store. Models loaded with `with_env_allocators` use it.
///
/// The error is one clause. Without the store each model has its own.
pub(super) fn share(environment: &Environment) -> Result<(), String> {
    let memory = MemoryInfo::new(
        AllocationDevice::CPU,
        0,
        AllocatorType::Arena,
        MemoryType::Default,
    )
    .map_err(|e| e.to_string())?;
    let api = ort::api();
    let mut config = ptr::null_mut();
    // SAFETY: the functions come from the loaded library. `config` is made by
    // the first and released once; the other pointers are borrowed from
    // values that live through the calls, and the library copies what it
    // keeps. The environment is only added to, under the library's own lock.
    #[allow(unsafe_code, reason = "ort has no safe call for a shared store")]
    let done = unsafe {
        let made = (api.CreateArenaCfg)(0, AS_ASKED, DEFAULT, DEFAULT, &mut config);
        ort::Error::result_from_status(made).and_then(|()| {
            let done = (api.CreateAndRegisterAllocator)(
                environment.ptr().cast_mut(),
                memory.ptr(),
                config,
            );
            (api.ReleaseArenaCfg)(config);
            ort::Error::result_from_status(done)
        })
    };
    done.map_err(|e| e.to_string())
}
