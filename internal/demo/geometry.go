package demo

type geometry struct{}
