//! The program `pairspeed`.

fn main() -> std::process::ExitCode {
    pairspeed_program::run()
}
