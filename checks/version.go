package checks

// Version is the version of Loadline.
const Version = "0.1.0"
