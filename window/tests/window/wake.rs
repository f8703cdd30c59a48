//! Waiting for the work behind a window.

use std::sync::{Arc, Condvar, Mutex};
use std::thread;
use std::time::Duration;

/// Longest wait before the window is shown anew in any case: nothing that a test waits for may depend on it.
const AT_MOST: Duration = Duration::from_secs(1);

/// Notes when another thread asks a window to be shown anew, as work in the background does when it gets on or ends.
pub struct Wake(Arc<(Mutex<bool>, Condvar)>);

impl Wake {
    /// Begins to observe a window, in place of an earlier observer.
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

    /// Waits until another thread has asked since the last wait.
    pub fn wait(&self) {
        let (asked, bell) = &*self.0;
        let waiting = bell.wait_timeout_while(asked.lock().unwrap(), AT_MOST, |asked| !*asked);
        *waiting.unwrap().0 = false;
    }
}
