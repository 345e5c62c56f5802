//go:build !purego

// The sides of vertices to edges, four at a time: sight.tell of sight.go, to which
// TestPropertySigns holds it bit by bit. It takes AVX.

#include "go_asm.h"
#include "textflag.h"

// func signs(xs, ys, gs *float64, n int64, s *side, sides int64, t *sight)
//
// The names of probe stand beside the lines that work them out.
TEXT ·signs(SB), NOSPLIT, $0-56
	MOVQ xs+0(FP), R15
	MOVQ ys+8(FP), DI
	MOVQ gs+16(FP), DX
	MOVQ s+32(FP), SI
	MOVQ t+48(FP), BX

edge:
	VBROADCASTSD (side_d+vec_x)(SI), Y0
	VBROADCASTSD (side_d+vec_y)(SI), Y1
	VBROADCASTSD (side_a+vec_x)(SI), Y9
	VBROADCASTSD (side_a+vec_y)(SI), Y10
	VBROADCASTSD side_c(SI), Y11
	VBROADCASTSD side_l(SI), Y12
	VMULPD Y9, Y0, Y13
	VMULPD Y10, Y1, Y14
	VADDPD Y14, Y13, Y13 // at
	VMULPD Y10, Y0, Y14
	VMULPD Y9, Y1, Y15
	VSUBPD Y15, Y14, Y14 // off
	VBROADCASTSD ·margins+0(SB), Y9
	VBROADCASTSD ·margins+8(SB), Y10
	VADDPD Y9, Y11, Y9   // most
	VADDPD Y9, Y14, Y2   // left
	VADDPD Y10, Y14, Y3  // right
	VADDPD Y11, Y14, Y4
	VADDPD Y10, Y4, Y4   // edge
	VADDPD Y12, Y13, Y5
	VADDPD Y9, Y5, Y5    // past
	VSUBPD Y9, Y13, Y6   // before
	VBROADCASTSD ·margins+16(SB), Y9
	VADDPD Y9, Y14, Y7   // over
	VSUBPD Y9, Y14, Y8   // under
	VXORPD Y9, Y9, Y9
	VBROADCASTSD ·margins+24(SB), Y10
	VCMPPD $0, Y9, Y12, Y9
	VANDPD Y10, Y9, Y9   // of a point infinite
	VSUBPD Y9, Y3, Y3

	XORQ R8, R8
	XORQ R9, R9
	XORQ R10, R10
	XORQ R11, R11
	XORQ R13, R13
	XORQ R14, R14
	MOVQ n+24(FP), CX
	DECQ CX
	ANDQ $-4, CX

vertices: // from the last four back
	VMOVUPD (R15)(CX*8), Y9
	VMOVUPD (DI)(CX*8), Y10
	VMOVUPD (DX)(CX*8), Y11
	VMULPD Y9, Y0, Y12
	VMULPD Y10, Y1, Y13
	VADDPD Y13, Y12, Y12 // u = dx*x + dy*y
	VMULPD Y10, Y0, Y13
	VMULPD Y9, Y1, Y14
	VSUBPD Y14, Y13, Y13 // v = dx*y - dy*x

	VSUBPD Y2, Y13, Y14 // v - left - g
	VSUBPD Y11, Y14, Y14
	VMOVMSKPD Y14, AX
	VSUBPD Y5, Y12, Y15 // u - past - g
	VSUBPD Y11, Y15, Y15
	VMOVMSKPD Y15, R12
	SHLQ $4, R8
	ORQ AX, R8
	SHLQ $4, R9
	ORQ R12, R9

	VSUBPD Y11, Y6, Y14 // before - g - u
	VSUBPD Y12, Y14, Y14
	VMOVMSKPD Y14, AX
	VSUBPD Y13, Y3, Y15 // right - v, or edge - g - v
	VSUBPD Y11, Y4, Y9
	VSUBPD Y13, Y9, Y9
	VORPD Y9, Y15, Y15
	VMOVMSKPD Y15, R12
	SHLQ $4, R10
	ORQ AX, R10
	SHLQ $4, R11
	ORQ R12, R11

	VSUBPD Y13, Y7, Y14 // over - v
	VSUBPD Y8, Y13, Y15 // v - under
	VMOVMSKPD Y14, AX
	VMOVMSKPD Y15, R12
	SHLQ $4, R13
	ORQ AX, R13
	SHLQ $4, R14
	ORQ R12, R14

	SUBQ $4, CX
	JGE vertices

	// an edge's bit: neither its vertex nor the next is not beyond, and so on
	MOVQ R8, AX
	SHRQ $1, AX
	ORQ AX, R8
	MOVQ R9, AX
	SHRQ $1, AX
	ORQ AX, R9
	ANDQ R9, R8
	MOVQ R10, AX
	SHRQ $1, AX
	ORQ AX, R10
	ANDQ R10, R8
	NOTQ R8
	MOVQ R8, sight_out(BX)
	MOVQ R11, AX
	SHRQ $1, AX
	ORQ AX, R11
	NOTQ R11
	MOVQ R11, sight_behind(BX)
	MOVQ R13, AX
	SHRQ $1, AX
	ANDQ AX, R13
	MOVQ R14, AX
	SHRQ $1, AX
	ANDQ AX, R14
	ORQ R14, R13
	NOTQ R13
	MOVQ R13, sight_across(BX)

	ADDQ $side__size, SI
	ADDQ $sight__size, BX
	DECQ sides+40(FP)
	JNZ edge

	VZEROUPPER
	RET
