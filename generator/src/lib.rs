//! Makes demonstration and test clips.
