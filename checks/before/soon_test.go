package before

import "time"

// soon is how long what must not hang may take on a busy machine.
const soon = 2 * time.Minute
