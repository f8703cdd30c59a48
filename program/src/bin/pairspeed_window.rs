//! Opens the window without a console. On Windows a program either has a console or has none: `pairspeed` has one,
//! for its commands; this program has none. It starts `pairspeed window` from its own folder, and
//! shows the reason in a dialog if that fails.
#![cfg_attr(windows, windows_subsystem = "windows")]

use std::env::consts::EXE_SUFFIX;
use std::process::{Command, Stdio};

/// Windows process creation flag: the new process gets no console. Source: Microsoft, "Process Creation Flags",
/// CREATE_NO_WINDOW.
#[cfg(windows)]
const CREATE_NO_WINDOW: u32 = 0x0800_0000;

fn main() {
    if let Err(reason) = open_window() {
        let dialog = rfd::MessageDialog::new().set_level(rfd::MessageLevel::Error);
        dialog.set_title("pairspeed").set_description(reason).show();
    }
}

/// Runs `pairspeed window` with the arguments of this program, and waits until the window is closed. Returns a
/// message for the pilot if the window cannot be started or fails.
fn open_window() -> Result<(), String> {
    let own = std::env::current_exe().map_err(|error| error.to_string())?;
    let program = own.with_file_name(format!("pairspeed{EXE_SUFFIX}"));
    let mut command = Command::new(&program);
    command.args(["window", "--"]).args(std::env::args_os().skip(1));
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped());
    #[cfg(windows)]
    std::os::windows::process::CommandExt::creation_flags(&mut command, CREATE_NO_WINDOW);
    let output = command.output().map_err(|error| {
        format!(
            "{} cannot be started: {error}; unpack the whole archive of the program into one folder",
            program.display()
        )
    })?;
    let said = String::from_utf8_lossy(&output.stderr);
    let ended = || format!("the window ended unexpectedly ({}); please report it", output.status);
    match said.trim() {
        _ if output.status.success() => Ok(()),
        "" => Err(ended()),
        said => Err(said.to_owned()),
    }
}
