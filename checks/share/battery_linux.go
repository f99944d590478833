package share

func battery() (onBattery, known bool) { return batteryFrom("/sys/class/power_supply") }
