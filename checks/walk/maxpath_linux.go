package walk

// maxPath is PATH_MAX of limits.h, its NUL included.
const maxPath = 4096
