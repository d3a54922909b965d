module faultloom.invalid/client

go 1.21
