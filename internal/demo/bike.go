package demo

// Bike is the invented superbike as it really is; its TOML is what a crew
// would write down about it.
type Bike struct {
	Name string
}
