//! Work off the window's thread.
//!
//! A [`Work`] is one job: it reports its progress, and can be cancelled until it begins to write results. A
//! [`LatestWinsWorker`] processes requests of which only the latest is needed, such as the frame to be shown while the
//! slider is dragged.

use std::ops::ControlFlow;
use std::sync::atomic::{AtomicU8, Ordering};
use std::sync::mpsc::{self, Receiver, TryRecvError};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use pairspeed::confinement::Confinement;
use pairspeed::readings::Progress;

/// Minimum time that a job must have run before the remaining time is shown (set by judgement). The first frames do not
/// show how fast the job is.
const SETTLED: Duration = Duration::from_secs(1);
/// Minimum time between two requests to repaint the window (set by judgement).
const BETWEEN_REPAINTS: Duration = Duration::from_millis(80);

/// Progress of a job.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct JobProgress {
    /// Number of frames that are done.
    pub frames: u64,
    /// Share of the job that is done, 0 to 1; `None` if the length is not known or the job has just started.
    pub share: Option<f32>,
    /// Estimated remaining time; `None` if it is not known yet.
    pub left: Option<Duration>,
}

/// How a job ended.
#[derive(Debug)]
pub enum Outcome<T> {
    /// The job succeeded with a result.
    Done(T),
    /// The job failed with a message for the pilot.
    Failed(String),
}

const RUNNING: u8 = 0;
const CANCELLED: u8 = 1;
/// State of a job that can no longer be cancelled, because it has begun to write its results.
const COMMITTED: u8 = 2;

#[derive(Debug, Default)]
struct JobStatus {
    state: AtomicU8,
    progress: Mutex<JobProgress>,
}

/// A job that runs in a thread of its own.
#[derive(Debug)]
pub struct Work<T> {
    status: Arc<JobStatus>,
    outcome: Receiver<Result<T, String>>,
}

/// The job's side of a [`Work`], through which it reports its progress.
pub struct Reporter {
    status: Arc<JobStatus>,
    ctx: egui::Context,
    begun: Option<Instant>,
    shown: Option<Instant>,
}

impl<T: Send + 'static> Work<T> {
    /// Starts a job. The window is repainted when the job has made progress, and at its end.
    pub fn start<E: ToString>(
        ctx: &egui::Context,
        job: impl FnOnce(&mut Reporter) -> Result<T, E> + Send + 'static,
    ) -> Self {
        let status = Arc::new(JobStatus::default());
        let (sender, outcome) = mpsc::channel();
        let mut reporter =
            Reporter { status: Arc::clone(&status), ctx: ctx.clone(), begun: None, shown: None };
        thread::spawn(move || {
            let waker = Waker(reporter.ctx.clone());
            // If the job was cancelled, nobody receives the result.
            let _unheard = sender.send(job(&mut reporter).map_err(|error| error.to_string()));
            drop(sender);
            drop(waker);
        });
        Self { status, outcome }
    }

    /// Starts a job that decodes recordings. The job can open only the files and folders that `confinement` allows.
    pub fn start_confined<E: ToString>(
        ctx: &egui::Context,
        confinement: Confinement,
        job: impl FnOnce(&mut Reporter) -> Result<T, E> + Send + 'static,
    ) -> Self {
        Self::start(ctx, move |reporter| {
            confinement.run(move || job(reporter).map_err(|error| error.to_string()))
        })
    }

    /// The progress of the job.
    #[must_use]
    pub fn progress(&self) -> JobProgress {
        *lock(&self.status.progress)
    }

    /// Cancels the job: it stops as soon as it can, and its result is discarded. Returns `false` if the job
    /// can no longer be cancelled.
    #[must_use]
    pub fn cancel(&self) -> bool {
        let state = &self.status.state;
        state.compare_exchange(RUNNING, CANCELLED, Ordering::SeqCst, Ordering::SeqCst).is_ok()
    }

    /// How the job ended; `None` while it is running.
    pub fn outcome(&mut self) -> Option<Outcome<T>> {
        match self.outcome.try_recv() {
            Ok(Ok(result)) => Some(Outcome::Done(result)),
            Ok(Err(message)) => Some(Outcome::Failed(message)),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Outcome::Failed(
                "this job stopped because of an error in the program; please report it, with the recording if you can"
                    .to_owned(),
            )),
        }
    }
}

/// The outcome of a job; `None` while it is running or if there is none. Sets `job` to `None` when it has ended.
pub fn take_outcome<T: Send + 'static>(job: &mut Option<Work<T>>) -> Option<Outcome<T>> {
    let outcome = job.as_mut()?.outcome()?;
    *job = None;
    Some(outcome)
}

impl Reporter {
    /// Whether the pilot has cancelled the job.
    #[must_use]
    pub fn is_cancelled(&self) -> bool {
        self.status.state.load(Ordering::SeqCst) == CANCELLED
    }

    /// Makes the job impossible to cancel from now on; returns `false` if it was cancelled before.
    #[must_use]
    pub fn commit(&self) -> bool {
        let state = &self.status.state;
        state.compare_exchange(RUNNING, COMMITTED, Ordering::SeqCst, Ordering::SeqCst).is_ok()
    }

    /// A function that reports the share of the job that is done, 0 to 1, from any thread.
    pub fn share_reporter(&self) -> impl Fn(f64) + Sync + use<> {
        let (status, ctx) = (Arc::clone(&self.status), self.ctx.clone());
        move |share| {
            *lock(&status.progress) =
                JobProgress { share: Some(share.clamp(0.0, 1.0) as f32), ..JobProgress::default() };
            ctx.request_repaint();
        }
    }

    fn report(&mut self, progress: JobProgress) {
        *lock(&self.status.progress) = progress;
        if self.shown.is_none_or(|shown| shown.elapsed() >= BETWEEN_REPAINTS) {
            self.shown = Some(Instant::now());
            self.ctx.request_repaint();
        }
    }
}

impl Progress for Reporter {
    fn frame_read(&mut self, frames: u64, time_s: f64, length_s: Option<f64>) -> ControlFlow<()> {
        let begun = *self.begun.get_or_insert_with(Instant::now);
        let share = length_s.filter(|length_s| *length_s > 0.0).map(|length_s| (time_s / length_s).min(1.0));
        let left = share.and_then(|share| time_left(begun.elapsed(), share));
        self.report(JobProgress { frames, share: share.map(|share| share as f32), left });
        if self.is_cancelled() { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    }
}

/// The estimated remaining time at the speed so far; `None` until the speed is known.
fn time_left(elapsed: Duration, share: f64) -> Option<Duration> {
    (elapsed >= SETTLED && share > 0.0).then(|| elapsed.mul_f64((1.0 - share) / share))
}

/// Requests a repaint of the window when it is dropped, however the thread ends.
struct Waker(egui::Context);

impl Drop for Waker {
    fn drop(&mut self) {
        self.0.request_repaint();
    }
}

/// Processes requests one at a time in a thread of its own; of waiting requests only the latest is processed.
#[derive(Debug)]
pub struct LatestWinsWorker<Q, A> {
    queue: Arc<(Mutex<Waiting<Q>>, Condvar)>,
    answers: Receiver<A>,
}

#[derive(Debug)]
struct Waiting<Q> {
    request: Option<Q>,
    closed: bool,
}

impl<Q: Send + 'static, A: Send + 'static> LatestWinsWorker<Q, A> {
    /// Starts a worker that calls `run` for every request. The second argument of `run` is a function that sends an
    /// answer; `run` may call it several times.
    pub fn spawn(ctx: &egui::Context, run: impl FnMut(Q, &mut dyn FnMut(A)) + Send + 'static) -> Self {
        Self::spawn_in(None, ctx, run)
    }

    /// Starts a worker that decodes recordings. The worker can open only the files and folders that `confinement`
    /// allows.
    pub fn spawn_confined(
        ctx: &egui::Context,
        confinement: Confinement,
        run: impl FnMut(Q, &mut dyn FnMut(A)) + Send + 'static,
    ) -> Self {
        Self::spawn_in(Some(confinement), ctx, run)
    }

    fn spawn_in(
        confinement: Option<Confinement>,
        ctx: &egui::Context,
        mut run: impl FnMut(Q, &mut dyn FnMut(A)) + Send + 'static,
    ) -> Self {
        let queue = Arc::new((Mutex::new(Waiting { request: None, closed: false }), Condvar::new()));
        let (sender, answers) = mpsc::channel();
        let (ctx, theirs) = (ctx.clone(), Arc::clone(&queue));
        let mut serve = move || {
            while let Some(request) = next_request(&theirs) {
                run(request, &mut |answer| {
                    // If the receiver is gone, the window no longer needs the answer.
                    let _unheard = sender.send(answer);
                    ctx.request_repaint();
                });
            }
        };
        thread::spawn(move || match confinement {
            Some(confinement) => confinement.run(serve),
            None => serve(),
        });
        Self { queue, answers }
    }

    /// Sends a request, which replaces one that is still waiting.
    pub fn submit(&self, request: Q) {
        let (waiting, bell) = &*self.queue;
        lock(waiting).request = Some(request);
        bell.notify_one();
    }

    /// The next answer; `None` if none is waiting.
    #[must_use]
    pub fn answer(&self) -> Option<A> {
        self.answers.try_recv().ok()
    }
}

impl<Q, A> Drop for LatestWinsWorker<Q, A> {
    fn drop(&mut self) {
        let (waiting, bell) = &*self.queue;
        lock(waiting).closed = true;
        bell.notify_one();
    }
}

fn next_request<Q>((waiting, bell): &(Mutex<Waiting<Q>>, Condvar)) -> Option<Q> {
    let mut waiting = lock(waiting);
    loop {
        if waiting.closed {
            return None;
        }
        if let Some(request) = waiting.request.take() {
            return Some(request);
        }
        waiting = bell.wait(waiting).unwrap_or_else(PoisonError::into_inner);
    }
}

/// Locks a mutex. If a thread has panicked, the value is still valid, because it is only ever replaced as a
/// whole.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A remaining time in words, such as `about 2 min 10 s`.
#[must_use]
pub fn in_words(left: Duration) -> String {
    let seconds = left.as_secs_f64().ceil() as u64;
    match seconds {
        0..=59 => format!("about {seconds} s"),
        _ => format!("about {} min {} s", seconds / 60, seconds % 60 / 10 * 10),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic)]
    use super::*;

    fn ended<T: Send + 'static>(mut work: Work<T>) -> Outcome<T> {
        loop {
            if let Some(outcome) = work.outcome() {
                return outcome;
            }
            thread::yield_now();
        }
    }

    #[test]
    fn a_job_ends_with_its_result_or_with_the_message_of_its_error() {
        let ctx = egui::Context::default();
        assert!(matches!(ended(Work::start(&ctx, |_| Ok::<_, String>(3))), Outcome::Done(3)));
        let failed = ended(Work::start(&ctx, |_| Err::<(), _>("no such file")));
        assert!(matches!(failed, Outcome::Failed(message) if message == "no such file"));
    }

    #[test]
    fn a_job_that_panics_ends_with_a_message() {
        let job = |_: &mut Reporter| -> Result<(), String> { panic!("meant to happen") };
        let outcome = ended(Work::start(&egui::Context::default(), job));
        assert!(
            matches!(outcome, Outcome::Failed(message) if message.contains("stopped because of an error"))
        );
    }

    #[test]
    fn a_cancelled_job_is_stopped_at_its_next_frame_and_cannot_commit() {
        let (sender, receiver) = mpsc::channel();
        let work = Work::start(&egui::Context::default(), move |reporter| {
            while reporter.frame_read(1, 1.0, Some(10.0)).is_continue() {}
            sender.send(reporter.commit()).map_err(|error| error.to_string())
        });
        assert!(work.cancel());
        assert!(!receiver.recv().unwrap());
    }

    #[test]
    fn confined_jobs_and_workers_open_only_what_they_were_given() {
        if let Err(reason) = Confinement::check_available() {
            eprintln!("not tested: {reason}");
            return;
        }
        let own = tempfile::NamedTempFile::new().unwrap();
        let rights = Confinement::default().reading([own.path()]);
        let path = own.path().to_owned();
        let opened = move || (std::fs::File::open(&path).is_ok(), std::fs::File::open("/etc/passwd").is_ok());
        let (ctx, theirs) = (egui::Context::default(), opened.clone());
        let job = Work::start_confined(&ctx, rights.clone(), move |_| Ok::<_, String>(theirs()));
        assert!(matches!(ended(job), Outcome::Done((true, false))));
        let theirs = opened.clone();
        let worker = LatestWinsWorker::spawn_confined(&ctx, rights, move |(): (), answer| answer(theirs()));
        worker.submit(());
        assert_eq!(worker.answers.recv().unwrap(), (true, false));
        assert!(matches!(
            ended(Work::start(&ctx, move |_| Ok::<_, String>(opened()))),
            Outcome::Done((true, true))
        ));
    }

    #[test]
    fn a_job_that_has_committed_cannot_be_cancelled() {
        let (sender, receiver) = mpsc::channel();
        let work = Work::start(&egui::Context::default(), move |reporter| {
            sender.send(reporter.commit()).map_err(|error| error.to_string())
        });
        assert!(receiver.recv().unwrap());
        assert!(!work.cancel());
    }

    #[test]
    fn the_remaining_time_follows_from_the_speed() {
        assert_eq!(time_left(Duration::from_millis(200), 0.5), None);
        assert_eq!(time_left(Duration::from_secs(10), 0.25), Some(Duration::from_secs(30)));
        assert_eq!(in_words(Duration::from_millis(8200)), "about 9 s");
        assert_eq!(in_words(Duration::from_secs(137)), "about 2 min 10 s");
    }

    #[test]
    fn of_waiting_requests_a_worker_processes_only_the_latest() {
        let (go, wait) = mpsc::channel::<()>();
        let worker = LatestWinsWorker::spawn(&egui::Context::default(), move |request: u32, answer| {
            wait.recv().unwrap();
            answer(request);
        });
        worker.submit(1);
        go.send(()).unwrap();
        let next = || loop {
            if let Some(answer) = worker.answer() {
                return answer;
            }
            thread::yield_now();
        };
        assert_eq!(next(), 1);
        (2..=9).for_each(|request| worker.submit(request));
        (0..8).for_each(|_| go.send(()).unwrap());
        let mut last = 0;
        while last != 9 {
            last = next();
        }
        assert!(worker.answer().is_none());
    }
}
