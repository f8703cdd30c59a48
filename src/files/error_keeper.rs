//! Fills files through a writer that keeps its first error.

use std::fs;
use std::io;

/// Fills a new file with `write` and returns its result. An input or output error is returned even if `write` hides it.
pub(super) fn fill<E>(
    file: fs::File,
    write: impl FnOnce(&mut dyn io::Write) -> Result<(), E>,
) -> io::Result<Result<(), E>> {
    let mut file = ErrorKeeper { inner: io::BufWriter::new(file), failure: None };
    let answer = write(&mut file);
    if let Some(failure) = file.failure {
        return Err(failure);
    }
    file.inner.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()?;
    Ok(answer)
}

/// A writer that keeps its first error, because the caller's code may return another error in its place.
struct ErrorKeeper<W> {
    inner: W,
    failure: Option<io::Error>,
}

impl<W> ErrorKeeper<W> {
    fn keep<T>(&mut self, outcome: io::Result<T>) -> io::Result<T> {
        outcome.map_err(|failure| {
            let copy = failure.kind().into();
            if failure.kind() != io::ErrorKind::Interrupted {
                self.failure.get_or_insert(failure);
            }
            copy
        })
    }
}

impl<W: io::Write> io::Write for ErrorKeeper<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let outcome = self.inner.write(bytes);
        self.keep(outcome)
    }

    fn flush(&mut self) -> io::Result<()> {
        let outcome = self.inner.flush();
        self.keep(outcome)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use std::io::Write as _;

    use super::*;

    /// A disk with room for this many more bytes.
    struct Full(usize);

    impl io::Write for Full {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let some = bytes.len().min(self.0);
            self.0 -= some;
            if some == 0 { Err(io::ErrorKind::StorageFull.into()) } else { Ok(some) }
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn the_error_of_a_full_disk_is_kept_even_if_the_caller_rewords_it() {
        let mut roomy = ErrorKeeper { inner: Full(100), failure: None };
        roomy.write_all(b"some bytes").unwrap();
        assert!(roomy.failure.is_none());
        let mut full = ErrorKeeper { inner: Full(4), failure: None };
        let _in_other_words = full.write_all(b"some bytes").map_err(|_| "no table").unwrap_err();
        assert_eq!(full.failure.unwrap().kind(), io::ErrorKind::StorageFull);
    }
}
