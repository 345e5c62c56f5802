//go:build !purego

// What the direct routine does most, four numbers at a time; see vector_amd64.go. The
// tests hold each routine to its twin in Go, bit by bit. It takes AVX.

#include "go_asm.h"
#include "textflag.h"

// The sides of vertices to edges.
//
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

// Points of an arc: two steps of the table at a time, turned and shifted.
//
// func turn(to *vec, steps *step, n int64, at, u *vec)
TEXT ·turn(SB), NOSPLIT, $0-40
	MOVQ to+0(FP), DI
	MOVQ steps+8(FP), SI
	MOVQ n+16(FP), CX
	MOVQ at+24(FP), AX
	MOVQ u+32(FP), BX
	VMOVSD (AX), X0 // in halves, as they were stored not long ago
	VMOVHPD 8(AX), X0, X0
	VINSERTF128 $1, X0, Y0, Y0 // at, at
	VMOVSD (BX), X1
	VMOVHPD 8(BX), X1, X1
	VPERMILPD $1, X1, X2 // u.y, u.x
	VXORPD X3, X3, X3
	VSUBPD X2, X3, X4
	VSHUFPD $2, X4, X2, X2 // u.y, -u.x
	VINSERTF128 $1, X1, Y1, Y1
	VINSERTF128 $1, X2, Y2, Y2
	SUBQ $2, CX
	JLT odd

pair:
	VMOVUPD step_x(SI), X5
	VINSERTF128 $1, (step_x+step__size)(SI), Y5, Y5
	VMOVDDUP Y5, Y6        // x, x
	VPERMILPD $15, Y5, Y7  // y, y
	VMULPD Y1, Y6, Y6
	VADDPD Y6, Y0, Y6
	VMULPD Y2, Y7, Y7
	VADDPD Y7, Y6, Y6
	VMOVUPD Y6, (DI)
	ADDQ $(2*step__size), SI
	ADDQ $32, DI
	SUBQ $2, CX
	JGE pair

odd:
	ADDQ $1, CX
	JLT done
	VMOVUPD step_x(SI), X5
	VMOVDDUP X5, X6
	VPERMILPD $3, X5, X7
	VMULPD X1, X6, X6
	VADDPD X6, X0, X6
	VMULPD X2, X7, X7
	VADDPD X7, X6, X6
	VMOVUPD X6, (DI)

done:
	VZEROUPPER
	RET

// Points about another origin.
//
// func shift(to *orb.Point, pts *vec, n int64, by *vec)
TEXT ·shift(SB), NOSPLIT, $0-32
	MOVQ to+0(FP), DI
	MOVQ pts+8(FP), SI
	MOVQ n+16(FP), CX
	MOVQ by+24(FP), AX
	VMOVSD (AX), X0
	VMOVHPD 8(AX), X0, X0
	VINSERTF128 $1, X0, Y0, Y0
	SUBQ $2, CX
	JLT odd

pair:
	VADDPD (SI), Y0, Y1
	VMOVUPD Y1, (DI)
	ADDQ $32, SI
	ADDQ $32, DI
	SUBQ $2, CX
	JGE pair

odd:
	ADDQ $1, CX
	JLT done
	VADDPD (SI), X0, X1
	VMOVUPD X1, (DI)

done:
	VZEROUPPER
	RET

// Twice the area within a ring: two of its sides at a time.
//
// func twice(pts *vec, n int64) float64
TEXT ·twice(SB), NOSPLIT, $0-24
	MOVQ pts+0(FP), SI
	MOVQ n+8(FP), CX
	VMOVUPD (SI), X0
	VINSERTF128 $1, X0, Y0, Y0 // the start
	VXORPD Y1, Y1, Y1
	SUBQ $3, CX
	JLT odd

pair:
	VMOVUPD (SI), Y2
	VMOVUPD 16(SI), Y3
	VSUBPD Y0, Y2, Y2
	VSUBPD Y0, Y3, Y3
	VPERMILPD $5, Y3, Y3
	VMULPD Y3, Y2, Y2
	VHSUBPD Y2, Y2, Y2
	VADDPD Y2, Y1, Y1
	ADDQ $32, SI
	SUBQ $2, CX
	JGE pair

odd:
	ADDQ $1, CX
	JLT done
	VMOVUPD (SI), X2
	VMOVUPD 16(SI), X3
	VSUBPD X0, X2, X2
	VSUBPD X0, X3, X3
	VPERMILPD $1, X3, X3
	VMULPD X3, X2, X2
	VHSUBPD X2, X2, X2 // and nothing above
	VADDPD Y2, Y1, Y1

done:
	VEXTRACTF128 $1, Y1, X2
	VADDSD X2, X1, X1
	VMOVSD X1, ret+16(FP)
	VZEROUPPER
	RET
