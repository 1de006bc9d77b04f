# SPDX-License-Identifier: MIT

# THOLE_TRY_FLAG(VARIABLE, FLAG, FLAGS-VARIABLE, TRY-MACRO, WHAT)
# Appends the shell word FLAG to VARIABLE if TRY-MACRO succeeds with it.
# -Werror makes a compiler that only warns about an unknown flag refuse it.
AC_DEFUN([THOLE_TRY_FLAG],
[AC_MSG_CHECKING([whether the $5 accepts $2])
thole_saved_flags=$$3
$3="$$3 -Werror $2"
$4([AC_LANG_PROGRAM([], [])],
  [AC_MSG_RESULT([yes])
   $1="$$1 $2"],
  [AC_MSG_RESULT([no])])
$3=$thole_saved_flags
])

# THOLE_TRY_CFLAGS(VARIABLE, FLAGS): each word of FLAGS by itself.
AC_DEFUN([THOLE_TRY_CFLAGS],
[AC_REQUIRE([AC_PROG_CC])dnl
for thole_flag in m4_normalize([$2]); do
  THOLE_TRY_FLAG([$1], [$thole_flag], [CFLAGS], [AC_COMPILE_IFELSE], [compiler])
done])

# THOLE_TRY_LDFLAGS(VARIABLE, FLAGS): the same with the linker.
AC_DEFUN([THOLE_TRY_LDFLAGS],
[AC_REQUIRE([AC_PROG_CC])dnl
for thole_flag in m4_normalize([$2]); do
  THOLE_TRY_FLAG([$1], [$thole_flag], [LDFLAGS], [AC_LINK_IFELSE], [linker])
done])
