// Command fallwright plans residential yard drainage over parcel data.
package main

func main() {}
