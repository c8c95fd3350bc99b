//! What can be wrong with a study file.

/// Something in a study file that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StudyProblem {
    /// What sort of problem it is.
    pub kind: ProblemKind,
    /// Where in the study file.
    pub field: String,
    /// What stands there.
    pub found: String,
    /// What may stand there.
    pub expected: String,
}

/// What is wrong with something in a study file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ProblemKind {
    /// A path that nothing has.
    PathUnknown,
    /// A word that is none of those allowed.
    WordUnknown,
    /// Something that is needed is not there.
    Missing,
    /// A list without entries.
    Empty,
    /// A name given twice.
    Twice,
    /// A value of the wrong type.
    Type,
    /// A value out of its range, or more than a limit.
    Range,
}
