//! Waits for the background work of a window.

use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::Duration;

/// Maximum wait before the window is repainted anyway; no test may depend on it.
const AT_MOST: Duration = Duration::from_secs(1);

/// Notes repaint requests from other threads, which background work sends when it makes progress or ends.
pub struct Wake(Arc<(Mutex<bool>, Condvar)>);

impl Wake {
    /// Starts observing a window, and replaces an earlier observer.
    pub fn of(ctx: &egui::Context) -> Self {
        let signal = Arc::new((Mutex::new(false), Condvar::new()));
        let (theirs, test) = (Arc::clone(&signal), thread::current().id());
        ctx.set_repaint_observer(move |_| {
            if thread::current().id() != test {
                *theirs.0.lock().unwrap() = true;
                theirs.1.notify_all();
            }
        });
        Self(signal)
    }

    /// Waits until another thread has requested a repaint since the last wait.
    pub fn wait(&self) {
        let (asked, bell) = &*self.0;
        let waiting = bell.wait_timeout_while(asked.lock().unwrap(), AT_MOST, |asked| !*asked);
        *waiting.unwrap().0 = false;
    }
}
