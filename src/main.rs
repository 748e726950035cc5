//! Turns the exit status of `cli::run` into a process exit code; nothing else.

fn main() -> std::process::ExitCode {
    tussock::cli::run()
}
