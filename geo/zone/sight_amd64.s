//go:build !purego

// The sides of vertices to an edge, four at a time: sight.tell of sight.go, to
// which TestPropertySigns holds it bit by bit. It takes AVX.

#include "go_asm.h"
#include "textflag.h"

// func signs(xs, ys, gs *float64, n int64, p *probe, t *sight)
//
// From the last four vertices back; the bits of what is read behind the nth are for
// the caller to disregard.
TEXT ·signs(SB), NOSPLIT, $0-48
	MOVQ xs+0(FP), R15
	MOVQ ys+8(FP), DI
	MOVQ gs+16(FP), DX
	MOVQ n+24(FP), CX
	MOVQ p+32(FP), BX
	VBROADCASTSD probe_dx(BX), Y0  // dx
	VBROADCASTSD probe_dy(BX), Y1  // dy
	VBROADCASTSD probe_left(BX), Y2 // left
	VBROADCASTSD probe_right(BX), Y3 // right
	VBROADCASTSD probe_edge(BX), Y4 // edge
	VBROADCASTSD probe_past(BX), Y5 // past
	VBROADCASTSD probe_before(BX), Y6 // before
	XORQ R8, R8
	XORQ R9, R9
	XORQ R10, R10
	XORQ R11, R11
	XORQ R13, R13
	XORQ SI, SI
	DECQ CX
	ANDQ $-4, CX

loop:
	VMOVUPD (R15)(CX*8), Y7
	VMOVUPD (DI)(CX*8), Y8
	VMOVUPD (DX)(CX*8), Y9
	VMULPD Y7, Y0, Y10
	VMULPD Y8, Y1, Y11
	VADDPD Y11, Y10, Y10 // u = dx*x + dy*y
	VMULPD Y8, Y0, Y11
	VMULPD Y7, Y1, Y12
	VSUBPD Y12, Y11, Y11 // v = dx*y - dy*x

	VSUBPD Y2, Y11, Y12 // v - left - g
	VSUBPD Y9, Y12, Y12
	VMOVMSKPD Y12, AX
	VSUBPD Y5, Y10, Y13 // u - past - g
	VSUBPD Y9, Y13, Y13
	VMOVMSKPD Y13, R12
	SHLQ $4, R8
	ORQ AX, R8
	SHLQ $4, R9
	ORQ R12, R9

	VSUBPD Y9, Y6, Y14 // before - g - u
	VSUBPD Y10, Y14, Y14
	VMOVMSKPD Y14, AX
	VSUBPD Y11, Y3, Y15 // right - v, or edge - g - v
	VSUBPD Y9, Y4, Y12
	VSUBPD Y11, Y12, Y12
	VORPD Y12, Y15, Y15
	VMOVMSKPD Y15, R12
	SHLQ $4, R10
	ORQ AX, R10
	SHLQ $4, R11
	ORQ R12, R11

	VBROADCASTSD probe_over(BX), Y7
	VBROADCASTSD probe_under(BX), Y8
	VSUBPD Y11, Y7, Y7 // over - v
	VSUBPD Y8, Y11, Y8 // v - under
	VMOVMSKPD Y7, AX
	VMOVMSKPD Y8, R12
	SHLQ $4, R13
	ORQ AX, R13
	SHLQ $4, SI
	ORQ R12, SI

	SUBQ $4, CX
	JGE loop

	VZEROUPPER

	// an edge's bit where its own and the next vertex are neither
	MOVQ t+40(FP), BX
	MOVQ R8, AX
	SHRQ $1, AX
	ORQ AX, R8
	MOVQ R9, AX
	SHRQ $1, AX
	ORQ AX, R9
	MOVQ R10, AX
	SHRQ $1, AX
	ORQ AX, R10
	MOVQ R11, AX
	SHRQ $1, AX
	ORQ AX, R11
	ANDQ R9, R8
	ANDQ R10, R8
	NOTQ R8
	NOTQ R11
	MOVQ R13, AX
	SHRQ $1, AX
	ANDQ AX, R13
	MOVQ SI, AX
	SHRQ $1, AX
	ANDQ AX, SI
	ORQ SI, R13
	NOTQ R13
	MOVQ R13, sight_across(BX)
	MOVQ R8, sight_out(BX)
	MOVQ R11, sight_behind(BX)
	RET
