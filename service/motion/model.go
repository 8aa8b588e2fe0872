package motion

// Model names the law of motion and its nominal constants in records that rest on a computed path.
// It is raised when a path comes out differently.
const Model = "motion-2"
